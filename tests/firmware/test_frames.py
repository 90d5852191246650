"""The node's frame decoders against the datasheets' tables and against the service's decoder."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_notes.node import amplifiers, noise
from service.physics.thermocouple import emf_mv
from service.wire import amplifier


@pytest.mark.parametrize(
    ("word", "frame"),
    [
        # MAX31855 datasheet, tables 4 and 5: the codes of both temperatures, put together
        (0x64001900, (1600.0, 25.0, None)),
        (0x3E801900, (1000.0, 25.0, None)),
        (0x064C6490, (100.75, 100.5625, None)),
        (0xFFFCFFF0, (-0.25, -0.0625, None)),
        (0xF060C900, (-250.0, -55.0, None)),
        # the same, table 2: the fault bits
        (0x00011901, (None, None, "open-circuit")),
        (0x00011902, (None, None, "short-to-ground")),
        (0x00011904, (None, None, "short-to-supply")),
        # a frame that a user of the chip caught and showed on a maker's forum
        (0x01501790, (21.0, 23.5625, None)),
        (0x00000000, (None, None, "amplifier-silent")),
        (0xFFFFFFFF, (None, None, "amplifier-silent")),
    ],
    ids=lambda value: f"{value:08X}" if isinstance(value, int) else "",
)
def test_a_known_frame(word: int, frame: tuple[object, ...]) -> None:
    assert amplifiers.decode_max31855(word.to_bytes(4, "big")) == frame


@given(st.binary(min_size=4, max_size=4))
def test_any_four_bytes_mean_what_the_service_makes_of_them(frame: bytes) -> None:
    hot_c, cold_c, fault = amplifiers.decode_max31855(frame)
    try:
        read = amplifier.decode_max31855(frame)
    except amplifier.BadFrame:
        assert fault == "amplifier-silent"
        return
    if read.faults:
        assert (hot_c, cold_c, fault) == (None, None, read.faults[0])
    else:
        assert (hot_c, cold_c, fault) == (read.temperature_c, read.cold_junction_c, None)


@given(st.binary(min_size=5, max_size=5), st.one_of(st.just(0), st.integers(0, 255)))
def test_any_six_registers_mean_what_the_service_makes_of_them(values: bytes, status: int) -> None:
    registers = values + bytes([status])
    hot_c, cold_c, fault = amplifiers.decode_max31856(registers)
    try:
        read = amplifier.decode_max31856(registers)
    except amplifier.BadFrame:
        assert fault == "amplifier-silent"
        return
    if read.faults:
        assert (hot_c, cold_c, fault) == (None, None, read.faults[0])
    else:
        assert (hot_c, cold_c, fault) == (read.temperature_c, read.cold_junction_c, None)


def test_the_slopes_are_the_services_own_and_each_fits_its_type() -> None:
    assert amplifiers.SLOPE_MV_PER_K == amplifier.MAX31855_MV_PER_K
    for letter, slope in amplifiers.SLOPE_MV_PER_K.items():
        # A chord of the ITS-90 table (NIST SRD 60); which one the maker took is not told.
        chords = [emf_mv(letter, t) / t for t in range(100, 1001, 50) if letter != "T" or t <= 400]
        assert min(chords) * 0.97 < slope < max(chords) * 1.03, letter


FRAMES = st.lists(
    st.one_of(
        st.tuples(st.floats(-200, 1300), st.just(25.0), st.none()),
        st.tuples(st.none(), st.none(), st.sampled_from(["open-circuit", "amplifier-silent"])),
    ),
    max_size=12,
)


@given(FRAMES)
def test_the_noise_filter_tells_a_real_frame_and_counts_every_other_it_leaves_out(
    frames: list[tuple[float | None, float | None, str | None]],
) -> None:
    arc_filter = noise.ArcFilter()
    for frame in frames:
        arc_filter.add(frame)
    told = arc_filter.take()
    faulty = [frame for frame in frames if frame[2] is not None]
    if not frames:
        assert told is None
        return
    assert told in frames
    if told[2] is not None:
        assert 2 * len(faulty) >= len(frames)
        assert arc_filter.dropped == 0, "what is told as a fault is not noise"
    else:
        assert 2 * len(faulty) < len(frames)
        near = [f for f in frames if f[2] is None and abs(f[0] - told[0]) <= noise.SPREAD_K]
        assert arc_filter.dropped == len(frames) - len(near)
    assert arc_filter.take() is None, "a period ends once"
