"""The wheel holds everything: installed in an empty folder, the demo runs from it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[2]


@pytest.mark.timeout(300)
def test_the_demo_runs_from_the_installed_wheel(tmp_path: Path) -> None:
    target, empty = tmp_path / "installed", tmp_path / "empty"
    empty.mkdir()
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    subprocess.run(
        [*pip, "wheel", "--no-deps", "--no-build-isolation", "-w", tmp_path, PROJECT],
        check=True,
        cwd=empty,
    )
    (wheel,) = tmp_path.glob("heatwindow-*.whl")
    subprocess.run([*pip, "install", "--no-deps", "--target", target, wheel], check=True, cwd=empty)
    env = {**os.environ, "PYTHONPATH": str(target)}

    where = "import service, dashboard; print(service.__file__); print(dashboard.__file__)"
    found = subprocess.run(
        [sys.executable, "-c", where],
        check=True,
        cwd=empty,
        env=env,
        capture_output=True,
        text=True,
    ).stdout.splitlines()
    assert all(Path(path).is_relative_to(target) for path in found), found
    assert (target / "heatwindow-0.1.0.dist-info" / "licenses" / "service" / "LICENSE").is_file()

    demo = subprocess.Popen(
        [sys.executable, "-m", "service.commands.main", "demo", "--port", "0", "--speed", "10"],
        cwd=empty,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert demo.stdout is not None
        address = demo.stdout.readline().strip()
        assert address.startswith("http://127.0.0.1:"), demo.communicate(timeout=20)
        with urllib.request.urlopen(address, timeout=10) as page:
            assert page.status == 200
            assert b"heatwindow" in page.read()
        with urllib.request.urlopen(f"{address}api/v1/bench", timeout=10) as bench:
            assert bench.status == 200
    finally:
        demo.send_signal(signal.SIGTERM)
        _, complaints = demo.communicate(timeout=20)
    assert demo.returncode == 0, complaints
    assert list(empty.iterdir()) == []
