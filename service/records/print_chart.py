"""The chart of a heat for print: lines told apart by dash and letter, nothing by colour.

Three panels on one axis of run time: temperatures with their limits, phases and passes; oxygen on
a logarithmic axis; argon flow. Lines break where there are no readings. All of it is vectors.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.graphics.shapes import Drawing, Line, PolyLine, Rect, String
from reportlab.lib.colors import Color, black, white

from service.records.heat_record import ChannelRecord, HeatRecord
from service.records.moments import joined
from service.records.traces import LETTERS, Traces, stretches
from service.store.database import History

FONT = "Vera"
SMALL = 6.5
GREY = Color(0.55, 0.55, 0.55)
PALE = Color(0.9, 0.9, 0.9)
DASHES: tuple[tuple[float, ...] | None, ...] = (
    None,
    (5, 2),
    (1.2, 1.6),
    (6, 2, 1.2, 2),
    (10, 3),
    (3, 1.5, 1, 1.5, 1, 1.5),
)
"""Of the lines, in turn; each also carries its letter."""

LEFT, RIGHT, FOOT, HEAD = 34.0, 12.0, 24.0, 30.0
STEPS = 900
"""Steps a line is drawn with: finer than the eye at arm's length on a page."""

Scale = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Panel:
    """A frame with a vertical scale; ``top`` and ``bottom`` in points."""

    bottom: float
    top: float
    low: float
    high: float
    log: bool = False

    def y(self, value: float) -> float:
        if self.log:
            low, high = math.log10(self.low), math.log10(self.high)
            share = (math.log10(max(value, self.low)) - low) / (high - low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return self.bottom + min(max(share, 0.0), 1.0) * (self.top - self.bottom)


def chart(record: HeatRecord, traces: Traces, width: float, height: float) -> Drawing:
    """Draw it, ``width`` by ``height`` points."""
    drawing = Drawing(width, height)
    span_us = max(record.to_us - record.begun_us, 1)

    def x(t_us: float) -> float:
        return LEFT + (t_us - record.begun_us) / span_us * (width - LEFT - RIGHT)

    panels = _panels(record, traces, height)
    _passes(drawing, record, x, panels)
    _time_axis(drawing, record, x, panels)
    _phases(drawing, record, x, panels["temperature"])
    for name, panel in panels.items():
        draw_frame(drawing, panel, width, name)
    _limits(drawing, record, panels, width)
    letters = iter(LETTERS)
    for name, each in (
        ("temperature", traces.temperatures),
        ("oxygen", traces.oxygen),
        ("flow", traces.flow),
    ):
        for place, traced in enumerate(each):
            _trace(drawing, panels[name], x, traced, (place, next(letters)))
    _alarms(drawing, record, x, panels["temperature"])
    return drawing


def _panels(record: HeatRecord, traces: Traces, height: float) -> dict[str, Panel]:
    lower = [name for name in ("oxygen", "flow") if getattr(traces, name)]
    each = (height - FOOT - HEAD) * 0.17
    bottom = FOOT + len(lower) * (each + 8)
    highs = [step.high for _, history in traces.temperatures for step in history.steps]
    limits = [one for dated in record.limits for one in joined(dated.limits) if one is not None]
    top_c = max([100.0, *(value for value in highs if value is not None), *limits])
    panels = {"temperature": Panel(bottom, height - HEAD, 0.0, math.ceil(top_c / 50 + 0.4) * 50)}
    for place, name in enumerate(lower):
        low = FOOT + (len(lower) - 1 - place) * (each + 8)
        panels[name] = (
            Panel(low, low + each, 1.0, 1e6, log=True)
            if name == "oxygen"
            else Panel(low, low + each, 0.0, _top_flow(traces.flow))
        )
    return panels


def _top_flow(flow: Sequence[tuple[ChannelRecord, History]]) -> float:
    highs = [step.high for _, history in flow for step in history.steps if step.high is not None]
    return math.ceil(max([5.0, *highs]) / 5) * 5


def draw_text(drawing: Drawing, x: float, y: float, text: str, **given: Any) -> None:
    made = {"fontName": FONT, "fontSize": SMALL, "fillColor": black} | given
    drawing.add(String(x, y, text, **made))


def _ticks(panel: Panel) -> list[float]:
    if panel.log:
        return [10.0, 100.0, 1000.0, 10_000.0, 100_000.0]
    step = (panel.high - panel.low) / 5
    nice = next((each for each in (1, 2, 5, 10, 20, 25, 50, 100, 200, 250) if each >= step), 500)
    count = int((panel.high - panel.low) / nice)
    return [panel.low + nice * place for place in range(count + 1)]


TITLES = {"temperature": "°C", "oxygen": "O2 ppm", "flow": "Ar l/min"}


def draw_frame(drawing: Drawing, panel: Panel, width: float, name: str) -> None:
    for value in _ticks(panel):
        y = panel.y(value)
        drawing.add(Line(LEFT, y, width - RIGHT, y, strokeColor=PALE, strokeWidth=0.4))
        text = f"{value:g}" if value < 1000 else f"{value / 1000:g}k"
        draw_text(drawing, LEFT - 3, y - 2.2, text, textAnchor="end")
    drawing.add(
        Rect(
            LEFT, panel.bottom, width - LEFT - RIGHT, panel.top - panel.bottom,
            fillColor=None, strokeColor=black, strokeWidth=0.6,
        )
    )  # fmt: skip
    # A heat begins with the cavity full of air, at the top of its panel: the title is below.
    y = panel.bottom + 3 if name == "oxygen" else panel.top - 9
    wide = len(TITLES[name]) * SMALL * 0.58
    drawing.add(Rect(LEFT + 3, y - 1, wide, SMALL + 1, fillColor=white, strokeColor=None))
    draw_text(drawing, LEFT + 4, y + 0.4, TITLES[name])


def _phases(drawing: Drawing, record: HeatRecord, x: Scale, panel: Panel) -> None:
    for place, phase in enumerate(record.phases):
        left, right = x(phase.from_us), x(phase.to_us)
        shade = Color(0.88, 0.88, 0.88) if place % 2 else white
        drawing.add(
            Rect(
                left, panel.top + 2, max(right - left, 0.3), 9,
                fillColor=shade, strokeColor=black, strokeWidth=0.4,
            )
        )  # fmt: skip
        if right - left > len(phase.phase) * 3.9:
            draw_text(
                drawing, (left + right) / 2, panel.top + 4.4, phase.phase, textAnchor="middle"
            )
        if place:
            drawing.add(
                Line(left, panel.bottom, left, panel.top, strokeColor=GREY, strokeWidth=0.4)
            )


def _limits(drawing: Drawing, record: HeatRecord, panels: dict[str, Panel], width: float) -> None:
    if not record.limits:
        return
    limits = record.limits[-1].limits
    low_c, high_c = joined(limits)
    said = [("temperature", low_c, "preheat min"), ("temperature", high_c, "interpass max")]
    said.append(("oxygen", limits.oxygen_max_ppm, "limit"))
    for name, value, words in said:
        if value is None or name not in panels:
            continue
        y = panels[name].y(value)
        for off in (-0.6, 0.6):  # a double line: no trace is drawn so
            drawing.add(
                Line(LEFT, y + off, width - RIGHT, y + off, strokeColor=GREY, strokeWidth=0.5)
            )
        _boxed(drawing, width - RIGHT - 2, y + 2.6, f"{words} {value:g}")


def _boxed(drawing: Drawing, right: float, y: float, text: str) -> None:
    wide = len(text) * SMALL * 0.58
    drawing.add(Rect(right - wide, y - 1, wide, SMALL + 1, fillColor=white, strokeColor=None))
    draw_text(drawing, right, y + 0.4, text, textAnchor="end")


def _passes(drawing: Drawing, record: HeatRecord, x: Scale, panels: dict[str, Panel]) -> None:
    top = panels["temperature"].top
    for each in record.passes:
        left, right = x(each.begun_us), x(each.ended_us or record.to_us)
        wide = max(right - left, 1.0)
        for panel in panels.values():
            drawing.add(
                Rect(
                    left, panel.bottom, wide, panel.top - panel.bottom,
                    fillColor=Color(0.93, 0.93, 0.93), strokeColor=None,
                )
            )  # fmt: skip
        drawing.add(Rect(left, top + 12, wide, 4, fillColor=black, strokeColor=None))
        draw_text(drawing, left + wide / 2, top + 18, f"{each.number}", textAnchor="middle")


def _alarms(drawing: Drawing, record: HeatRecord, x: Scale, panel: Panel) -> None:
    for place, alarm in enumerate(record.alarms, 1):
        at = x(min(max(alarm.raised_us, record.begun_us), record.to_us))
        drawing.add(
            Line(
                at, panel.bottom, at, panel.top,
                strokeColor=black, strokeWidth=0.5, strokeDashArray=(1, 3),
            )
        )  # fmt: skip
        _boxed(drawing, at + 8, panel.bottom + 3 + (place % 3) * 8, f"!{place}")


def _trace(
    drawing: Drawing,
    panel: Panel,
    x: Scale,
    traced: tuple[ChannelRecord, History],
    sign: tuple[int, str],
) -> None:
    """``sign``: its place among the lines of its panel, from which its dash, and its letter."""
    (of, history), (place, letter) = traced, sign
    width = 0.9 if place < len(DASHES) else 1.5
    runs = stretches(of, history)
    for run in runs:
        points = [coordinate for t_us, value in run for coordinate in (x(t_us), panel.y(value))]
        if len(run) == 1:
            points += [points[0] + 0.5, points[1]]
        line = PolyLine(points, strokeColor=black, strokeWidth=width)
        line.strokeDashArray = DASHES[place % len(DASHES)]
        drawing.add(line)
    drawn = [point for run in runs for point in run]
    for share in (0.12 + 0.07 * (place % 4), 0.55 + 0.07 * (place % 4)):
        if drawn:
            t_us, value = drawn[int(share * (len(drawn) - 1))]
            draw_letter(drawing, x(t_us), panel.y(value), letter)


def draw_letter(drawing: Drawing, x: float, y: float, letter: str) -> None:
    drawing.add(Rect(x - 3, y - 3.4, 6, 6.8, fillColor=white, strokeColor=None))
    draw_text(drawing, x, y - 2.4, letter, textAnchor="middle", fontName="VeraBd")


def _time_axis(drawing: Drawing, record: HeatRecord, x: Scale, panels: dict[str, Panel]) -> None:
    minutes = (record.to_us - record.begun_us) / 60e6
    nice = next(
        (each for each in (1, 2, 5, 10, 15, 30, 60, 120, 240, 480, 1440) if minutes / each <= 14),
        2880,
    )
    for place in range(int(minutes / nice) + 1):
        at = x(record.begun_us + place * nice * 60e6)
        drawing.add(Line(at, FOOT, at, FOOT - 3, strokeColor=black, strokeWidth=0.5))
        for panel in panels.values():
            drawing.add(Line(at, panel.bottom, at, panel.top, strokeColor=PALE, strokeWidth=0.3))
        draw_text(drawing, at, FOOT - 10, f"{place * nice}", textAnchor="middle")
    draw_text(drawing, LEFT, FOOT - 19, "run time from the heat's begin [min]")
