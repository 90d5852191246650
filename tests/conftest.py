"""What every test may rely on: real programs where they are installed, a clear skip where not."""

from __future__ import annotations

import shutil

import pytest

pytest_plugins = ["tests.field.bench_parts", "tests.field.service_process"]

_NEEDS = {
    "mosquitto": ("mosquitto", "/usr/sbin/mosquitto", "mosquitto"),
    "chromium": ("chromium", "/usr/bin/chromium", "chromium"),
    "systemd": ("systemd-analyze", "/usr/bin/systemd-analyze", "systemd"),
}
"""Program, its usual place, and the Debian package that brings it, by marker."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        for marker, (program, usual_place, package) in _NEEDS.items():
            if item.get_closest_marker(marker) is None:
                continue
            if shutil.which(program) or shutil.which(usual_place):
                continue
            item.add_marker(pytest.mark.skip(reason=f"needs {program}: apt-get install {package}"))
