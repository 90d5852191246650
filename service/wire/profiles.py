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

from service.wire.csv_lines import CsvLines
from service.wire.pack import Pack, Reject, RejectCause, shown
from service.wire.plain import plain_text
from service.wire.senml import decode_line
from service.wire.text_units import TEXT_UNITS, name_fault, text_measurement

PROFILES = ("senml", "name=value", "csv", "csv:HEADER", "regex:EXPRESSION")


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
        ValueError: The expression is faulty, a group is missing, or the name or unit is not one.
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
        if "name" not in groups and (fault := name_fault(name or "")) is not None:
            raise ValueError(f"channel {fault.text}")
        if "unit" not in groups and unit is not None and unit not in TEXT_UNITS:
            raise ValueError(f"unit {shown(unit)} is not one of {', '.join(TEXT_UNITS)}")
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


def make_profile(text: str, channel: str | None = None, unit: str | None = None) -> LineProfile:
    """The profile a config names.

    Args:
        text: ``senml``, ``name=value``, ``csv``, ``csv:`` and a header, or ``regex:`` and an
            expression.
        channel: Channel name for an expression without a group ``name``.
        unit: Unit for an expression without a group ``unit``.

    Raises:
        ValueError: No such profile, or its header or expression is faulty.
    """
    kind, _, rest = text.partition(":")
    if text == "senml":
        return SenmlLines()
    if text == "name=value":
        return NameValueLines()
    if kind == "csv":
        return CsvLines(rest or None)
    if kind == "regex" and rest:
        return RegexLines(rest, channel, unit)
    raise ValueError(f"profile {shown(text)} is not one of {', '.join(PROFILES)}")
