"""The wire format page against the real decoders and their limits.

What the packs mean is RFC 8428's; that the decoder keeps to it is proven in
``tests/reference/test_senml_rfc8428.py``. Here the page must say what the decoder does.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime

import numpy as np
import pytest
import thermocouple_its90

from service.judge import channel, sense, source_clock
from service.judge.cold_junction import Junction
from service.sources.mqtt import STATUS_TOPICS
from service.units import WIRE_UNITS
from service.wire import duplicates, lines, resolve
from service.wire.pack import RejectCause
from service.wire.senml import decode_line
from tests.firmware_notes.decoded import rows_of
from tests.firmware_notes.pages import Block, blocks, section, tables, words

PAGE = "wire_format.md"


@pytest.mark.parametrize("block", blocks("senml"), ids=str)
def test_every_example_is_decoded_as_its_table_says(block: Block) -> None:
    decoded = [row for line in block.lines for row in rows_of(decode_line(line.encode()))]
    assert decoded == block.table


def test_the_time_of_the_example_is_that_of_the_standard_library() -> None:
    assert datetime(2026, 3, 1, 8, 15, tzinfo=UTC).timestamp() == 1772352900
    assert "1772352900" in words(PAGE)


def test_every_field_of_the_standard_and_our_two_are_explained() -> None:
    """Labels: RFC 8428, table 1 and section 12.2."""
    (table,) = tables(section(PAGE, "Fields"))
    explained = {name.strip() for row in table for name in row[0].split(",")}
    standard = {"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t"}
    assert explained == standard | {"ut", "boot", "seq"}


def test_every_unit_is_listed_with_what_it_becomes() -> None:
    (table,) = tables(section(PAGE, "Units"))[:1]
    listed = {name.strip(): becomes for units, _, becomes in table for name in units.split(",")}
    assert listed == {name: unit.inside for name, unit in WIRE_UNITS.items()}


def test_every_known_fault_word_is_shown() -> None:
    told = {row[2] for block in blocks("senml") for row in block.table if row[2]}
    assert set(sense._FAULT_WORDS) <= told


def test_every_cause_of_a_refusal_is_explained() -> None:
    causes = [row[0] for row in tables(section(PAGE, "What is refused, and how it is counted"))[-1]]
    assert causes == [cause.value for cause in RejectCause]


def test_the_voltage_example() -> None:
    """Oracle: thermocouple-its90, which evaluates the NIST SRD 60 functions."""
    (block,) = [each for each in blocks("senml") if "emf" in each.text]
    emf, terminals = (
        each for pack in decode_line(block.lines[0].encode()) for each in pack.measurements
    )
    assert emf.value is not None
    oracle = thermocouple_its90.get("K")
    wanted = oracle.temperature(emf.value, reference=terminals.value)
    ours = Junction("K", terminals.name).temperature_c(emf.value, terminals.value)
    assert ours == pytest.approx(wanted, abs=2e-3)
    assert f"{wanted:.3f} °C" in words(PAGE)
    assert f"{oracle.temperature(emf.value) + terminals.value:.3f} °C" in words(PAGE)


@pytest.mark.parametrize(
    "phrase",
    [
        f"more than {lines.MAX_LINE_BYTES} bytes, a pack of more than {resolve.MAX_PACK_BYTES}",
        f"a name of more than {resolve.MAX_NAME_CHARS} characters",
        f"with `bn` at most {resolve.MAX_NAME_CHARS} characters",
        f"1 to {resolve.MAX_BOOT_CHARS} characters",
        f"from {resolve.ABSOLUTE_FROM_S} (2²⁸) on",
        f'"bt":{resolve.ABSOLUTE_BEFORE_S}',
        f"stale after {channel.STALE_FLOOR_US // 1_000_000} s or three of its own intervals",
        f"by {channel.PROMISE_MOST_US // 1_000_000} s at most",
        f"more than {source_clock.TOLERANCE_US // 1_000_000} s late",
        f"last {duplicates.WINDOW} numbers of each of the last {duplicates.MAX_BOOTS} power-ups",
        f"more than {sense.JUMP_K:g} K plus {sense.JUMP_K_PER_S:g} K a second",
        STATUS_TOPICS[0].replace("+", "NODE"),
        f"steps of {np.spacing(np.float32(1772352900)):.0f} s",
    ],
)
def test_a_limit_on_the_page_is_the_one_in_force(phrase: str) -> None:
    assert phrase in words(PAGE)


def test_three_intervals_and_the_doubted_numbers_are_those_in_force() -> None:
    assert channel.STALE_INTERVALS == 3
    said = re.search(r"exactly ([^°]+) °C out of nowhere", words(PAGE))
    assert said is not None
    numbers = {float(text.replace("−", "-")) for text in re.findall(r"[−\d]+", said[1])}
    assert numbers == set(sense.MARKERS_C)
