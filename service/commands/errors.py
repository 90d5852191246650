"""How a command ends badly: one sentence for the person and an exit code."""

from __future__ import annotations


class CommandError(Exception):
    """The command could not do its work; the message is one clear sentence. Exit code 1."""

    exit_code = 1


class BadInput(CommandError):
    """What was given is wrong (usage, file, config). Exit code 2."""

    exit_code = 2
