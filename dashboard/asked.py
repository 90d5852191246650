"""Reading the parameters of a question, with every fault of it listed at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dashboard.problems import Fault, Problem, shown
from dashboard.times import from_rfc3339

SPAN_MAX_US = 366 * 86_400 * 1_000_000
"""Longest stretch of history in one answer [µs]: a leap year."""


class Asked:
    """The parameters of one question; faults are collected until ``done``.

    Args:
        asked: As they came.
        known: Those that there are.
    """

    def __init__(self, asked: Mapping[str, str], known: Sequence[str]) -> None:
        self._asked = asked
        self._faults: list[Fault] = []
        for field in sorted(set(asked) - set(known)):
            self.fault(field, f"is not a parameter here: {', '.join(known)} are")

    def fault(self, field: str, message: str) -> None:
        """Something is wrong with a parameter; one clause says what."""
        value = shown(self._asked.get(field, ""))
        self._faults.append(Fault(field=field, value=value, message=message))

    def done(self) -> None:
        """All were read.

        Raises:
            Problem: 400 with all faults, if there are any.
        """
        if self._faults:
            words = "; ".join(f"{fault['field']} {fault['message']}" for fault in self._faults)
            raise Problem(400, "bad-parameters", words, self._faults)

    def text(self, field: str, longest: int = 200) -> str:
        """Text, blanks around it cut; empty when it is not there."""
        text = self._asked.get(field, "").strip()
        if len(text) > longest:
            self.fault(field, f"is longer than {longest} characters")
        return text[:longest]

    def moment(self, field: str) -> int | None:
        """A moment [µs UTC]; ``None`` when it is not there or is none."""
        text = self._asked.get(field)
        if text is None:
            return None
        try:
            # A plus sign left as it is in an address arrives as a space.
            return from_rfc3339(text.replace(" ", "+"))
        except ValueError as error:
            self.fault(field, str(error))
            return None

    def number(self, field: str, default: int, lowest: int, highest: int) -> int:
        """A whole number within bounds."""
        text = self._asked.get(field, str(default))
        if text.isascii() and text.isdigit() and lowest <= int(text[:18]) <= highest:
            return int(text)
        self.fault(field, f"is not a whole number between {lowest} and {highest}")
        return default

    def one_of(self, field: str, allowed: Sequence[str]) -> str | None:
        """One of some words; ``None`` when it is not there."""
        text = self._asked.get(field)
        if text is None or text in allowed:
            return text
        self.fault(field, f"is not one of {', '.join(allowed)}")
        return None
