"""When a root may be graded by colour. Names of steels as EN 10088-1, AISI and UNS have them."""

from __future__ import annotations

import pytest

from service.judge.actions import Limits, PartFacts
from service.records.colour_scale import SAMPLE_PPM, says_stainless, why_not
from service.records.heat_record import DatedLimits

TUBE = PartFacts(name="elbow", metal="ductile iron", joining_metal="stainless 321")


def held(**limits: float) -> list[DatedLimits]:
    return [DatedLimits(1, 0, Limits.model_validate(limits))]


@pytest.mark.parametrize(
    "words",
    ["stainless", "Stainless tube 42 x 2", "304", "AISI 316L", "316Ti", "TP321", "tube 321H 2 mm",
     "1.4404", "1.4828 tube", "X5CrNi18-10", "X6Cr17", "S32205", "inox", "409 exhaust tube"],
)  # fmt: skip
def test_what_says_stainless(words: str) -> None:
    assert says_stainless(words)


@pytest.mark.parametrize(
    "words",
    [None, "", "mild steel", "St 37", "P235GH", "X10CrMoVNb9-1", "13CrMo4-5", "1.0345",
     "tube 304 mm", "316 °C tube", "not stainless", "non-stainless 304", "A106 B", "1.7335",
     "Inconel 625"],
)  # fmt: skip
def test_what_does_not(words: str | None) -> None:
    assert not says_stainless(words)


def test_the_oxygen_of_the_ten_samples() -> None:
    """AWS D18.2:2009, as read: 10 to 25 000 ppm in ten steps."""
    assert len(SAMPLE_PPM) == 10
    assert (SAMPLE_PPM[0], SAMPLE_PPM[5], SAMPLE_PPM[9]) == (10, 500, 25_000)
    assert list(SAMPLE_PPM) == sorted(SAMPLE_PPM)


@pytest.mark.parametrize(
    ("limits", "in_oven", "hottest_c", "words"),
    [
        ([], False, None, None),
        ([], False, 60.0, None),
        (held(preheat_min_c=150.0), True, 190.0, None),
        (held(interpass_max_c=90.0), False, None, None),
        (held(preheat_min_c=250.0), False, 40.0, "had to be at 250 °C"),
        (held(tube_preheat_min_c=300.0), False, 40.0, "had to be at 300 °C"),
        ([*held(preheat_min_c=260.0), *held(preheat_min_c=100.0)], False, 40.0, "at 260 °C"),
        (held(preheat_min_c=150.0), True, 251.0, "has shown 251 °C"),
        ([], True, None, "no probe says how hot"),
        (held(preheat_min_c=150.0), False, None, "no probe says how hot"),
    ],
)
def test_preheat_that_tints_rules_it_out(
    limits: list[DatedLimits], in_oven: bool, hottest_c: float | None, words: str | None
) -> None:
    found = why_not(TUBE, limits, in_oven, hottest_c)
    assert (found is None) if words is None else (found is not None and words in found)
