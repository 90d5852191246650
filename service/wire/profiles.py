"""How a text line becomes packs: SenML, or one of three plain forms for simple instruments.

==================  ========================================================================
profile             a line looks like
==================  ========================================================================
``senml``           a SenML JSON pack (``service.wire.senml``)
``name=value``      ``port2=312.5 Cel, argon=12 l/min, arc=off, flange=open-circuit``
``csv``             a header line, then rows (``service.wire.csv_lines``)
``regex:…``         whatever the expression says by its named groups ``value`` and, if the line
                    holds them, ``name`` and ``unit``
==================  ========================================================================

Plain lines may use the units of ``service.wire.text_units`` besides those of SenML.
"""

from __future__ import annotations

import re
from typing import Protocol

from service.wire.pack import Pack, Reject, RejectCause, shown
from service.wire.senml import decode_line
from service.wire.text_units import text_measurement

PROFILES = ("senml", "name=value", "csv", "regex:…")
MAX_TEXT_LINE = 4096
"""Longest plain line read [bytes]; no simple instrument sends more in one."""


class LineProfile(Protocol):
    """Decodes the lines of one link, in order."""

    def decode(self, line: bytes) -> list[Pack]:
        """The packs of one line without its line end; never raises."""

    def restart(self) -> None:
        """The link was opened anew: forget what earlier lines said (a CSV header, say)."""


class SenmlLines:
    """One SenML pack to a line."""

    def decode(self, line: bytes) -> list[Pack]:
        return decode_line(line)

    def restart(self) -> None:
        """Nothing is kept between lines."""


class NameValueLines:
    """``name=value unit``, any number of them to a line, separated by commas, semicolons or
    spaces; a word in place of the number is a fault."""

    _ITEM = re.compile(
        r"(?P<name>[A-Za-z0-9][A-Za-z0-9\-:./_]*)\s*=\s*"
        r"(?P<value>[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?|[A-Za-z][A-Za-z\-]*)"
        r"(?:[ \t]*(?P<unit>[^\s,;=\d][^\s,;=]*)(?![^\s,;]*\s*=))?\s*(?:[,;]\s*|\Z|(?=\S+\s*=))"
    )

    def decode(self, line: bytes) -> list[Pack]:
        text = plain_text(line)
        if isinstance(text, Reject):
            return [Pack(rejects=[text])]
        pack = Pack()
        position = 0
        while position < len(text):
            item = self._ITEM.match(text, position)
            if item is None or item.end() == position:
                rest = shown(text[position:])
                reject = Reject(RejectCause.SYNTAX, f"{rest} is not name=value unit")
                pack.rejects.append(reject)
                break
            text_measurement(pack, item["name"], item["value"], item["unit"])
            position = item.end()
        return [pack]

    def restart(self) -> None:
        """Nothing is kept between lines."""


class RegexLines:
    """Lines of an instrument that cannot be told what to send.

    Args:
        pattern: A regular expression with a group ``value`` and, as far as the line holds them,
            ``name`` and ``unit``; searched for as often as it occurs in a line.
        name: Channel name where the expression has no group ``name``.
        unit: Unit where it has no group ``unit``.

    Raises:
        ValueError: The expression is faulty or a group is missing.
    """

    def __init__(self, pattern: str, name: str | None = None, unit: str | None = None) -> None:
        try:
            self._pattern = re.compile(pattern)
        except re.error as error:
            raise ValueError(f"regular expression {shown(pattern)}: {error}") from None
        groups = self._pattern.groupindex
        if "value" not in groups:
            raise ValueError(f"regular expression {shown(pattern)} needs a group (?P<value>…)")
        if "name" not in groups and name is None:
            raise ValueError(
                f"regular expression {shown(pattern)} needs a group (?P<name>…) or a fixed name"
            )
        self._name = name
        self._unit = unit

    def decode(self, line: bytes) -> list[Pack]:
        text = plain_text(line)
        if isinstance(text, Reject):
            return [Pack(rejects=[text])]
        pack = Pack()
        for match in self._pattern.finditer(text):
            groups = match.groupdict()
            name = groups.get("name") or self._name or ""
            unit = groups.get("unit") or self._unit
            text_measurement(pack, name.strip(), (groups["value"] or "").strip(), unit)
        if not pack.measurements and not pack.rejects:
            text = f"{shown(text)} does not match the expression"
            pack.rejects.append(Reject(RejectCause.SYNTAX, text))
        return [pack]

    def restart(self) -> None:
        """Nothing is kept between lines."""


def plain_text(line: bytes) -> str | Reject:
    """A plain line as text without outer spaces, or why it is none."""
    if len(line) > MAX_TEXT_LINE:
        return Reject(RejectCause.LENGTH, f"{len(line)} bytes in a line; {MAX_TEXT_LINE} allowed")
    try:
        text = line.decode("utf-8").strip()
    except UnicodeDecodeError as error:
        return Reject(RejectCause.SYNTAX, f"not UTF-8: {error.reason} at byte {error.start}")
    if not text.isprintable() and not text.replace("\t", " ").isprintable():
        return Reject(RejectCause.SYNTAX, f"{shown(text)} holds control characters")
    return text
