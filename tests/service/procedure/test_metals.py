"""The suggestions: every metal has one, each names its source, none invents a cooling limit."""

from __future__ import annotations

from typing import get_args

import pytest

from service.judge.actions import Limits, Metal
from service.procedure.metals import RANGES


def test_the_judge_and_the_table_know_the_same_metals():
    assert set(RANGES) == set(get_args(Metal))


@pytest.mark.parametrize("usual", RANGES.values())
def test_every_row(usual):
    assert usual.source
    assert usual.cooling
    low, high = usual.preheat_c or (None, None)
    if low is not None:
        assert 20 < low < high <= 650
    limits = Limits(preheat_min_c=low, interpass_max_c=usual.interpass_max_c)
    assert limits.preheat_min_c == low


@pytest.mark.parametrize(
    ("metal", "preheat_c"),
    [
        # Repair handbook page citing AWS A5.15: grey iron 260-650, ductile iron 150-315 °C.
        ("grey iron", (260.0, 650.0)),
        ("ductile iron", (150.0, 315.0)),
        # From memory, to be confirmed: cast austenitic stainless has no lower end.
        ("cast austenitic stainless", None),
    ],
)
def test_against_the_trade(metal, preheat_c):
    assert RANGES[metal].preheat_c == preheat_c


def test_an_unknown_iron_is_where_grey_and_pearlitic_ductile_meet():
    low, high = RANGES["iron, unknown"].preheat_c
    grey_low, _ = RANGES["grey iron"].preheat_c
    pearlitic_low, pearlitic_high = 250.0, 330.0  # welding institute's answer on spheroidal irons
    assert low == max(grey_low, pearlitic_low)
    assert high == pearlitic_high
