"""The three verdicts as tables: what is known, and what a careful colleague would say."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.judge.channel import Standing
from service.judge.heat_verdict import HeatView, ProbeView, cools_too_fast, judge_heat
from service.judge.purge_verdict import PurgeView, judge_purge
from service.judge.spreads import earliest, latest
from service.judge.together import PartView, closes_before, judge_together, outlasts
from service.judge.words import duration, listed, without_numbers
from service.physics.cooldown import Level, Rate
from service.readings import Forecast, Spread


def good(temperature_c, channel="tc1"):
    return ProbeView(channel, Standing.GOOD, temperature_c, None)


def doubtful(standing=Standing.STALE, channel="tc2"):
    return ProbeView(channel, standing, None, f"is {standing.value}")


def in_s(p05, p50, p95):
    return Forecast(Spread(p05, p50, p95), None)


BENCH = HeatView(
    phase="bench",
    pass_running=False,
    probes=[good(250.0)],
    preheat_min_c=200.0,
    interpass_max_c=320.0,
    closes=in_s(250.0, 300.0, 400.0),
)

HEAT = [
    # on the bench
    (BENCH, "ready", "250 °C is within its limits", "at least 4:10"),
    (replace(BENCH, closes=Forecast(None, "too few readings")), "ready", "within", "too few"),
    (replace(BENCH, probes=[]), "unknown", "no thermocouple", ""),
    (replace(BENCH, probes=[good(199.9)]), "stop", "below preheat", "back into the oven"),
    (replace(BENCH, probes=[good(200.0)]), "ready", "200 °C", ""),
    (replace(BENCH, probes=[good(200.5)], was_below=True), "stop", "below preheat", ""),
    (replace(BENCH, probes=[good(201.0)], was_below=True), "ready", "", ""),
    (replace(BENCH, probes=[good(330.0)]), "wait", "above interpass", "let it cool"),
    (
        replace(BENCH, probes=[good(330.0)], opens=in_s(60, 80, 100)),
        "wait",
        "above interpass",
        "1:20 until below",
    ),
    (replace(BENCH, probes=[good(319.5)], was_above=True), "wait", "above interpass", ""),
    (replace(BENCH, probes=[good(319.0)], was_above=True), "ready", "", ""),
    (replace(BENCH, arc_out_s=3.0), "wait", "arc just out", "let the heat spread"),
    (replace(BENCH, arc_out_s=10.0), "ready", "", ""),
    (replace(BENCH, arc_out_s=3.0, interpass_max_c=None), "ready", "", ""),
    # the coldest governs preheat, the hottest governs interpass
    (replace(BENCH, probes=[good(250), good(190, "tc2")]), "stop", "190 °C is below", ""),
    (replace(BENCH, probes=[good(250), good(325, "tc2")]), "wait", "325 °C is above", ""),
    # doubt is unknown, but a violation a good probe shows is said
    (replace(BENCH, probes=[good(250), doubtful()]), "unknown", "in doubt", "tc2: is stale"),
    (replace(BENCH, probes=[good(190), doubtful()]), "stop", "below preheat", ""),
    (replace(BENCH, probes=[good(330), doubtful()]), "unknown", "in doubt", ""),
    *[
        (replace(BENCH, probes=[doubtful(standing)]), "unknown", "in doubt", standing.value)
        for standing in (Standing.STALE, Standing.BAD, Standing.SUSPECT, Standing.SETTLING)
    ],
    (
        replace(BENCH, probes=[doubtful(Standing.SETTLING)], gap_expected=True),
        "unknown",
        "waiting for a settled probe",
        "settling",
    ),
    # either limit may be absent, both not
    (replace(BENCH, preheat_min_c=None, probes=[good(60)]), "ready", "60 °C", ""),
    (replace(BENCH, preheat_min_c=None, probes=[good(330)]), "wait", "above interpass", ""),
    (replace(BENCH, interpass_max_c=None, probes=[good(600)]), "ready", "", ""),
    (
        replace(BENCH, preheat_min_c=None, interpass_max_c=None),
        "unknown",
        "no temperature limit",
        "",
    ),
    # under the arc: never a stop, interpass not judged
    (replace(BENCH, pass_running=True), "ready", "welding at 250 °C", "at least 4:10"),
    (
        replace(BENCH, pass_running=True, probes=[good(180)]),
        "wait",
        "below preheat",
        "finish the bead, fill the crater, then re-heat",
    ),
    (replace(BENCH, pass_running=True, probes=[good(400)]), "ready", "welding", ""),
    (replace(BENCH, pass_running=True, probes=[doubtful()]), "unknown", "in doubt", ""),
    # in the oven
    (
        replace(BENCH, phase="oven", probes=[good(100)], opens=in_s(400, 426, 500)),
        "wait",
        "below preheat",
        "7:06 until hot enough",
    ),
    (replace(BENCH, phase="oven", probes=[good(100)]), "wait", "below preheat", ""),
    (replace(BENCH, phase="oven"), "wait", "hot enough at 250 °C", "carry it"),
    (replace(BENCH, phase="oven", probes=[good(250), doubtful()]), "unknown", "in doubt", ""),
    (replace(BENCH, phase="oven", preheat_min_c=None), "wait", "in the oven", "no preheat"),
    # carried
    (
        replace(
            BENCH,
            phase="carry",
            probes=[doubtful(Standing.BAD)],
            level=Level(300, 10),
            gap_expected=True,
        ),
        "unknown",
        "probe unplugged",
        "probably 284 to 316 °C",
    ),
    (
        replace(BENCH, phase="carry", probes=[doubtful()], gap_expected=True),
        "unknown",
        "unplugged",
        "",
    ),
    (replace(BENCH, phase="carry", probes=[doubtful()]), "unknown", "for too long", ""),
    (replace(BENCH, phase="carry"), "wait", "on the way at 250 °C", "on the bench"),
    # under cover
    (
        replace(BENCH, phase="slow cool", rate=Rate(-90, 5), cooling_max_c_per_h=100),
        "wait",
        "slow cool at 250 °C",
        "cooling 90 °C/h",
    ),
    (
        replace(BENCH, phase="slow cool", rate=Rate(-150, 5), cooling_max_c_per_h=100),
        "wait",
        "faster than 100 °C/h",
        "cover it better",
    ),
    (replace(BENCH, phase="slow cool", probes=[doubtful()]), "unknown", "in doubt", ""),
]


@pytest.mark.parametrize(("view", "verdict", "lead", "detail"), HEAT)
def test_heat(view, verdict, lead, detail):
    found = judge_heat(view)
    assert found.verdict == verdict, found.reasons
    assert lead in found.lead
    assert detail in (found.detail or "")
    assert found.reasons[0] == found.lead


probes = st.lists(
    st.one_of(
        st.floats(0, 500).map(good),
        st.sampled_from([s for s in Standing if s is not Standing.GOOD]).map(doubtful),
    ),
    max_size=4,
)
limits = st.one_of(st.none(), st.floats(50, 400))


@given(
    st.sampled_from(["oven", "carry", "bench", "slow cool"]),
    st.booleans(),
    probes,
    limits,
    limits,
    st.booleans(),
)
def test_heat_is_never_ready_on_doubt_or_outside(phase, arc, seen, low, high, was):
    view = HeatView(phase, arc, seen, low, high, was_below=was, was_above=was)
    found = judge_heat(view)
    assert found.lead
    temperatures = [p.temperature_c for p in seen if p.temperature_c is not None]
    if found.verdict == "ready":
        assert phase == "bench"
        assert len(temperatures) == len(seen) > 0
        assert low is None or min(temperatures) >= low
        assert high is None or arc or max(temperatures) <= high
        assert (low, high) != (None, None)
    if arc:
        assert found.verdict != "stop", "a bead is never broken off for its temperature"


@pytest.mark.parametrize(
    ("rate", "expected"),
    [(Rate(-130, 10), True), (Rate(-110, 10), False), (Rate(-101, 0), True), (Rate(50, 1), False)],
)
def test_too_fast_means_with_95_percent_confidence(rate, expected):
    assert cools_too_fast(rate, 100.0) is expected


PURGE = PurgeView(limit_ppm=50.0, running=True, flowing=True)
PURGED = replace(PURGE, clear=True, was_clear=True, oxygen=Spread(1, 5, 40))

PURGES = [
    (replace(PURGE, limit_ppm=None), "unknown", "not judged", "no oxygen limit", False),
    (replace(PURGED, limit_ppm=None), "unknown", "not judged", "", False),
    (replace(PURGE, running=False), "wait", "not been started", "", True),
    (replace(PURGE, running=False, pass_running=True), "stop", "no purge behind", "", True),
    (replace(PURGE, running=False, ended=True), "unknown", "not judged", "on purpose", False),
    (PURGED, "ready", "clear below 50 ppm", "estimated from flow, at most 40 ppm", True),
    (replace(PURGED, basis="oxygen sensor"), "ready", "clear", "measured", True),
    (replace(PURGED, doubt="flow1: silent for 4 s"), "unknown", "in doubt", "flow1", True),
    (replace(PURGED, lost=True), "wait", "no argon is flowing", "bottle", True),
    (replace(PURGED, lost=True, pass_running=True), "stop", "purge lost", "root", True),
    (replace(PURGED, flowing=False), "wait", "no argon yet", "valve", True),
    (replace(PURGED, flowing=False, pass_running=True), "stop", "purge lost", "", True),
    (replace(PURGE, clear_in=in_s(60, 100, 170)), "wait", "not clear", "1:40 more, at most 2:50",
     True),
    (replace(PURGE, clear_in=in_s(60, 100, None)), "wait", "not clear", "at least 1:40", True),
    (replace(PURGE, clear_in=Forecast(None, "too leaky")), "wait", "not clear", "leaky", True),
    (replace(PURGE, pass_running=True), "wait", "welding into", "", True),
    (replace(PURGE, pass_running=True, was_clear=True, gone=True), "stop", "not clear any more", "",
     True),
    (replace(PURGE, pass_running=True, was_clear=True), "wait", "no longer surely clear", "argon",
     True),
    (replace(PURGE, has_volume=False), "unknown", "volume is not known", "", True),
    (replace(PURGE, has_volume=False, basis="oxygen sensor"), "wait", "not clear", "", True),
]  # fmt: skip


@pytest.mark.parametrize(("view", "verdict", "lead", "detail", "judged"), PURGES)
def test_purge(view, verdict, lead, detail, judged):
    found = judge_purge(view)
    assert (found.verdict, found.judged) == (verdict, judged), found.reasons
    assert lead in found.lead
    assert detail in (found.detail or "")
    assert (found.basis == "not judged") is not judged


@given(
    st.booleans(), st.booleans(), st.booleans(), st.booleans(), st.booleans(), st.booleans(),
    st.sampled_from([None, True, False]), st.sampled_from([None, "silent"]),
)  # fmt: skip
def test_purge_is_ready_only_when_clear_flowing_and_beyond_doubt(
    limited, running, ended, arc, clear, lost, flowing, doubt
):
    view = PurgeView(
        50.0 if limited else None, running, ended, arc, lost=lost, flowing=flowing, doubt=doubt,
        clear=clear,
    )  # fmt: skip
    found = judge_purge(view)
    if found.verdict == "ready":
        assert limited
        assert running
        assert clear
        assert not lost
        assert flowing is not False
        assert doubt is None


READY, COLD, HOT = (
    judge_heat(v)
    for v in (BENCH, replace(BENCH, probes=[good(180)]), replace(BENCH, probes=[good(340)]))
)
BOUNDLESS = judge_heat(replace(BENCH, closes=Forecast(None, "too few readings")))
COLD_METHOD = judge_heat(replace(BENCH, preheat_min_c=None, probes=[good(60)], closes=None))
BLIND = judge_heat(replace(BENCH, probes=[doubtful()]))
CLEAR = judge_purge(PURGED)
UNCLEAR = judge_purge(replace(PURGE, clear_in=in_s(60, 100, 170)))
LOST = judge_purge(replace(PURGED, lost=True, pass_running=True))
NO_LIMIT = judge_purge(replace(PURGE, limit_ppm=None))
WINDOW = Spread(250.0, 310.0, 400.0)

TOGETHER = [
    (READY, CLEAR, WINDOW, "ready", "Start now: the window holds for at least 4:10."),
    (READY, NO_LIMIT, WINDOW, "ready", "Start now: the window holds for at least 4:10."),
    (BOUNDLESS, CLEAR, None, "ready", "Start now: how long cannot be said (too few readings)."),
    (COLD_METHOD, CLEAR, None, "ready", "Start now."),
    (READY, CLEAR, Spread(5, 20, 60), "ready", "Only 0:20 left: back into the oven."),
    (READY, CLEAR, Spread(19, 90, 200), "ready",
     "A short bead at most: the window holds for 0:19, probably 1:30."),
    (READY, UNCLEAR, WINDOW, "wait", "Wait 2:50 for the purge: the window holds until 4:23."),
    (READY, UNCLEAR, Spread(100, 160, 300), "wait",
     "It may not hold: the purge needs up to 2:50, the window holds until 1:53."),
    (READY, UNCLEAR, Spread(40, 90, 120), "wait",
     "It will not hold until the purge is clear: back into the oven."),
    (READY, UNCLEAR, Spread(60, 95, 200), "wait",
     "It will probably not hold until the purge is clear: back into the oven."),
    (READY, UNCLEAR, Spread(170, 195, 300), "wait",
     "Clear in 2:50, and then the window holds for 0:05: a short bead."),
    (READY, UNCLEAR, None, "wait", "Purge not clear: about 1:40 more, at most 2:50."),
    (READY, LOST, WINDOW, "stop", "Purge lost: stop, the root is open to air."),
    (COLD, CLEAR, WINDOW, "stop", "180 °C is below preheat 200 °C: back into the oven."),
    (COLD, UNCLEAR, WINDOW, "stop", "180 °C is below preheat 200 °C: back into the oven."),
    (HOT, UNCLEAR, WINDOW, "wait", "340 °C is above interpass 320 °C: let it cool."),
    (BLIND, CLEAR, WINDOW, "unknown", "Temperature in doubt: tc2: is stale."),
]  # fmt: skip


@pytest.mark.parametrize(("heat", "purge", "window", "verdict", "sentence"), TOGETHER)
def test_together(heat, purge, window, verdict, sentence):
    view = PartView("bench", False, heat, purge, window, Spread(60, 100, 170))
    found = judge_together(view)
    assert (found.verdict, found.next) == (verdict, sentence)


def test_a_lost_purge_under_the_arc_outranks_a_cold_part():
    cold = judge_heat(replace(BENCH, pass_running=True, probes=[good(180)]))
    found = judge_together(PartView("bench", True, cold, LOST, None, None))
    assert found.verdict == "stop"
    assert found.next.startswith("Purge lost")


def test_outlasts_at_90_percent():
    """Normal on its early side: P(window > t) = 0.9 at p50 - 1.2816 sd (standard table)."""
    window = Spread(300.0 - 1.6449 * 50.0, 300.0, None)
    assert outlasts(window, Spread(0, 0, 300.0 - 1.29 * 50.0))
    assert not outlasts(window, Spread(0, 0, 300.0 - 1.27 * 50.0))
    assert not outlasts(window, Spread(0, 0, None))


@given(st.floats(1, 3000), st.floats(0.1, 0.9), st.floats(1.1, 3), st.floats(1, 3000))
def test_the_window_outlasts_with_90_percent_confidence_and_not_less(middle_s, low, high, clear_s):
    """Against the normal distribution of the standard library: 9 of 10 windows are longer than a
    purge that is waited for, and 9 of 10 shorter than one that "will not hold"."""
    early = NormalDist(middle_s, (1 - low) * middle_s / NormalDist().inv_cdf(0.95))
    late = NormalDist(middle_s, (high - 1) * middle_s / NormalDist().inv_cdf(0.95))
    window, clear_in = Spread(low * middle_s, middle_s, high * middle_s), Spread(0, 0, clear_s)
    longer = 1 - (early if clear_s < middle_s else late).cdf(clear_s)
    if abs(longer - 0.9) > 1e-4:
        assert outlasts(window, clear_in) == (longer > 0.9)
    if abs(longer - 0.1) > 1e-4:
        assert closes_before(window, clear_in) == (longer < 0.1)
    assert not closes_before(Spread(1, 2, None), clear_in)


def test_several_probes_make_one_forecast():
    first, second = in_s(10, 20, None), in_s(15, 18, 30)
    assert earliest([first, second]) == Forecast(Spread(10, 18, 30), None)
    assert latest([first, second]) == Forecast(Spread(15, 20, None), None)
    assert earliest([]) is None
    assert latest([]) is None
    dumb = Forecast(None, "rising")
    assert earliest([first, dumb]) == latest([first, dumb]) == dumb
    assert earliest([first, None]).time_left_s is None


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0:00"),
        (9.9, "0:09"),
        (100, "1:40"),
        (3599, "59:59"),
        (3900, "1 h 05 min"),
        (-3, "0:00"),
    ],
)
def test_durations(seconds, words):
    assert duration(seconds) == words


def test_words():
    assert listed([]) == ""
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert without_numbers("212.5 °C in 1:40") == without_numbers("7 °C in 10:00")
