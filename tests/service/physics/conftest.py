"""Fixtures of the physics tests."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

_WORLD = Path(__file__).parents[2] / "bench" / "cooling_world"


@pytest.fixture(scope="session")
def cooling_world() -> ModuleType:
    """The independent many-node world of tests/bench, loaded by its path."""
    name = "cooling_world"
    if name not in sys.modules:
        for part, file in ((name, "__init__.py"), (f"{name}.network", "network.py"),
                           (f"{name}.scenarios", "scenarios.py")):  # fmt: skip
            spec = importlib.util.spec_from_file_location(
                part,
                _WORLD / file,
                submodule_search_locations=[str(_WORLD)] if part == name else None,
            )
            assert spec is not None
            assert spec.loader is not None
            module = importlib.util.module_from_spec(spec)
            sys.modules[part] = module
            spec.loader.exec_module(module)
    return sys.modules[f"{name}.scenarios"]
