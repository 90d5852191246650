"""README and DEVELOPERS say what is true: their examples are run, their lists are complete."""

from __future__ import annotations

import re
import typing
from pathlib import Path

import pytest

from service.commands.main import COMMANDS
from service.config import load
from service.judge.events import AlarmKind
from service.wire.senml import decode_pack

PROJECT = Path(__file__).resolve().parents[1]
README = (PROJECT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (PROJECT / "DEVELOPERS.md").read_text(encoding="utf-8")
MODULE_LINES_MOST = 400


def blocks(text: str) -> list[str]:
    """The indented blocks of a page, without their indent."""
    found = re.findall(r"(?:^    .*\n(?:^\n(?=    ))?)+", text, flags=re.MULTILINE)
    return [re.sub(r"^    ", "", block, flags=re.MULTILINE) for block in found]


def test_the_example_config_is_accepted(tmp_path: Path) -> None:
    (example,) = [block for block in blocks(README) if block.startswith("[[serial]]")]
    file = tmp_path / "shop.toml"
    file.write_text(example, encoding="utf-8")
    config = load(file)
    assert config.serial
    assert config.mqtt is not None
    assert config.notify.sounder is not None


def test_the_example_pack_is_read_whole() -> None:
    (example,) = [block for block in blocks(README) if block.startswith("[{")]
    pack = decode_pack(example.strip().encode())
    assert pack.rejects == []
    assert [(each.name, each.unit) for each in pack.measurements] == [
        ("bench1/flange", "Cel"),
        ("bench1/argon", "l/min"),
    ]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command: str) -> None:
    assert f"heatwindow {command}" in README


@pytest.mark.parametrize("kind", typing.get_args(AlarmKind))
def test_every_kind_of_alarm_is_explained(kind: str) -> None:
    assert f"| {kind} |" in DEVELOPERS


def modules() -> list[Path]:
    return sorted(
        path for room in ("service", "dashboard") for path in (PROJECT / room).rglob("*.py")
    )


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PROJECT)))
def test_every_module_can_be_read_in_one_sitting(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MODULE_LINES_MOST
