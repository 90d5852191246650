"""The exposition text against the reference parser (prometheus-client, OpenMetrics 1.0)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.openmetrics import render
from dashboard.wiring import Metric

METRICS = [
    Metric("heatwindow_readings", "counter", "Readings taken.", [({"link": "serial"}, 12.0)]),
    Metric("heatwindow_data_age_seconds", "gauge", 'Age, "quoted"\nand \\ lined.', [({}, 0.25)]),
]


def test_text_by_hand():
    """OpenMetrics 1.0, 'Overall structure': counters end in _total, the text in # EOF."""
    assert render(METRICS) == (
        "# TYPE heatwindow_readings counter\n"
        "# HELP heatwindow_readings Readings taken.\n"
        'heatwindow_readings_total{link="serial"} 12\n'
        "# TYPE heatwindow_data_age_seconds gauge\n"
        '# HELP heatwindow_data_age_seconds Age, \\"quoted\\"\\nand \\\\ lined.\n'
        "heatwindow_data_age_seconds 0.25\n"
        "# EOF\n"
    )


# The parser trims white space and splits at odd line ends; the rest must come back as it went.
WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zs", "Zl", "Zp"]), max_size=20)
ESCAPED = st.lists(st.sampled_from(["\\", '"', "\n", "x"]), max_size=8)


@given(
    st.builds(lambda word, more: f"a{word}{''.join(more)}z", WORDS, ESCAPED),
    st.floats(allow_nan=False),
)
def test_reference_parser_reads_it_back(label, value):
    parser = pytest.importorskip("prometheus_client.openmetrics.parser")
    metric = Metric("m", "gauge", label, [({"name": label}, value)])
    family = next(iter(parser.text_string_to_metric_families(render([metric]))))
    sample = family.samples[0]
    assert family.documentation == label
    assert sample.labels == {"name": label}
    assert sample.value == value


@pytest.mark.parametrize("name", ["", "1st", "a-b", "a b", "m_total"])
def test_bad_names_are_refused(name):
    with pytest.raises(ValueError, match="not a metric family name"):
        render([Metric(name, "gauge", "", [({}, 1.0)])])


def test_twice_and_bad_labels_are_refused():
    with pytest.raises(ValueError, match="given twice"):
        render([METRICS[0], METRICS[0]])
    with pytest.raises(ValueError, match="not a label name"):
        render([Metric("m", "gauge", "", [({"a-b": "x"}, 1.0)])])


def test_specials_are_spelled_as_the_standard_does():
    values = [({"n": "a"}, math.nan), ({"n": "b"}, math.inf), ({"n": "c"}, -math.inf)]
    lines = render([Metric("m", "gauge", "", values)]).splitlines()
    assert [line.split(" ")[-1] for line in lines[2:5]] == ["NaN", "+Inf", "-Inf"]
