"""Sensor sense against a real thermocouple log with dropouts: see its SOURCE.md.

Open data from outside: a drum roaster's recorder wrote -1 where it had no reading. The expected
counts are the "missing" columns of the table in SOURCE.md; every other reading there, with real
noise, a door opened, beans dropped and fans changed, must be believed.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from service.judge.channel import ChannelTrack, Standing
from service.judge.sense import SenseState, classify
from service.readings import ChannelKind, Quality, Reading

DATA = Path(__file__).parent / "data" / "roaster_thermocouple_faults"

MISSING = {
    "r25-08-31_1240_bean": 12,
    "r25-09-06_1638_bean": 1,
    "r25-09-27_1253_R15_air": 4,
    "r25-09-27_1253_R15_bean": 4,
    "r25-10-05_1743_bean": 2,
    "r25-10-05_1841_air": 2,
    "r25-10-05_1841_bean": 2,
    "r25-10-11_1352_air": 0,
    "r25-10-11_1352_bean": 0,
}


def rows(name):
    with (DATA / f"{name}.csv").open(newline="") as file:
        return [(float(row["t_s"]), float(row["temp_c"])) for row in csv.DictReader(file)]


def qualities(readings):
    state = SenseState()
    return [
        classify(state, "probe", "Cel", value, None, mono_us=round(t_s * 1e6))[0]
        for t_s, value in readings
    ]


def test_every_file_is_listed():
    assert {path.stem for path in DATA.glob("*.csv")} == set(MISSING)


@pytest.mark.parametrize(("name", "missing"), MISSING.items())
@pytest.mark.parametrize("mark", [-1.0, 0.0, 85.0, -3.7, 390.0])
def test_exactly_the_dropouts_are_suspect(name, missing, mark):
    """Also with other numbers in their place, some of which no list of known marks contains."""
    readings = [(t_s, mark if value == -1 else value) for t_s, value in rows(name)]
    assert sum(value == mark for _, value in readings) >= missing
    found = qualities(readings)
    for (t_s, value), (_, original), quality in zip(readings, rows(name), found, strict=True):
        expected = Quality.SUSPECT if original == -1 else Quality.GOOD
        assert quality is expected, f"{value} °C at {t_s} s"
    assert found.count(Quality.SUSPECT) == missing


def test_full_scale_is_bad():
    """The air channel of one run jumped to 2046, the converter's full scale (SOURCE.md)."""
    readings = rows("r25-10-05_1743_bean")
    readings[100] = (readings[100][0], 2046.0)
    found = qualities(readings)
    assert found[100] is Quality.BAD
    assert found[99] is found[101] is Quality.GOOD


@pytest.mark.parametrize("name", MISSING)
def test_no_dropout_is_ever_a_temperature_to_weld_by(name):
    """Through the whole channel: a dropout stands as suspect, and the next good one as good."""
    state, track = SenseState(), ChannelTrack("probe", 0, kind=ChannelKind.THERMOCOUPLE)
    track.in_oven = track.heated = True  # a roaster heats all the time, and its air falls fast
    for t_s, value in rows(name):
        mono_us = round(t_s * 1e6)
        quality, reason = classify(state, "probe", "Cel", value, None, mono_us=mono_us)
        track.take(
            Reading("probe", "Cel", value, quality, reason, mono_us, mono_us, mono_us, 1)
        )  # fmt: skip
        standing = track.standing(mono_us)
        assert (standing is Standing.SUSPECT) == (value == -1)
        if t_s > 60 and value != -1:
            assert standing is Standing.GOOD
            assert track.good_value == value
