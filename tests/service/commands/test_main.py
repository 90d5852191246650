"""The command line: exit codes, one sentence, no traceback, no heavy import."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable

import pytest

from service import __version__
from service.commands import main as command
from service.commands.errors import BadInput, CommandError
from service.store.database import Store


def heatwindow(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "service.commands.main", *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_version() -> None:
    done = heatwindow("--version")
    assert (done.returncode, done.stdout.strip()) == (0, f"heatwindow {__version__}")


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["--help"]) == 0
    shown = capsys.readouterr().out
    for name, purpose in command.COMMANDS.items():
        assert name in shown
        assert purpose.split(":")[0].split(",")[0] in " ".join(shown.split())


@pytest.mark.parametrize("name", list(command.COMMANDS))
def test_every_command_has_help_of_its_own(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main([name, "--help"]) == 0
    assert f"heatwindow {name}" in capsys.readouterr().out


@pytest.mark.parametrize(
    "arguments", [[], ["weld"], ["check", "--what"], ["--what"], ["demo", "--port"]]
)
def test_wrong_usage_is_one_sentence_and_code_2(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert command.main(arguments) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert len(streams.err.splitlines()) == 1
    assert "--help" in streams.err


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (CommandError("the port is taken"), 1, "heatwindow: the port is taken\n"),
        (BadInput("one\ntwo"), 2, "heatwindow: one\nheatwindow: two\n"),
        (KeyboardInterrupt(), 1, "heatwindow: interrupted\n"),
    ],
)
def test_errors_become_sentences(
    error: BaseException,
    code: int,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("service.commands.check.findings_for", raising(error))
    assert command.main(["check"]) == code
    assert capsys.readouterr().err == words


def raising(error: BaseException) -> Callable[..., object]:
    def fail(*_: object) -> object:
        raise error

    return fail


def test_a_fault_of_ours_is_a_sentence_with_its_place(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("service.commands.check.findings_for", raising(ZeroDivisionError("oh")))
    assert command.main(["check"]) == 1
    said = capsys.readouterr().err
    assert "a fault in heatwindow: ZeroDivisionError: oh (test_main.py, line" in said
    assert "Traceback" not in said


@pytest.mark.parametrize("buffering", [[], ["-u"]])
def test_a_reader_that_goes_away_is_not_a_fault(buffering: list[str]) -> None:
    with subprocess.Popen(
        [sys.executable, *buffering, "-m", "service.commands.main", "check"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        child.stdout.close()
        said = child.stderr.read()
    assert "Traceback" not in said
    assert "Exception ignored" not in said


@pytest.mark.parametrize(
    ("name", "unwanted"),
    [
        ("forecast", ["flask", "sqlalchemy", "waitress", "paho.mqtt.client", "scipy"]),
        ("purge", ["flask", "sqlalchemy", "waitress", "paho.mqtt.client", "scipy"]),
        ("check", ["flask", "waitress", "scipy", "numpy"]),
        ("run", ["amqtt", "scipy"]),
    ],
)
def test_a_command_imports_only_what_it_needs(name: str, unwanted: list[str]) -> None:
    program = (
        "import sys\n"
        "from service.commands.main import build_parser\n"
        f"build_parser({name!r})\n"
        f"print([name for name in {unwanted!r} if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.strip() == "[]"


def test_a_start_beside_a_database_of_this_version_imports_nothing_heavy(tmp_path) -> None:
    """Alembic is for an upgrade, amqtt for the demo, scipy for the tests."""
    url = f"sqlite:///{tmp_path / 'shop.db'}"
    Store.open(url).close()
    heavy = ["alembic", "mako", "amqtt", "scipy", "hypothesis", "pytest", "playwright", "bokeh"]
    program = (
        "import sys\n"
        "from service.commands import assembly, run\n"
        f"assembly.Store.open({url!r}).close()\n"
        f"print([name for name in {heavy!r} if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.strip() == "[]"
