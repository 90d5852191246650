"""Heats side by side as one chart: a line each, told apart by dash and by the heat's number."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from reportlab.graphics.shapes import Drawing, Line, PolyLine
from reportlab.lib.colors import black

from service.records.compare import Alignment, Compared, Run
from service.records.print_chart import (
    DASHES,
    FOOT,
    GREY,
    LEFT,
    PALE,
    RIGHT,
    Panel,
    draw_frame,
    draw_text,
)

HEAD = 8.0
NAMES = ("temperature", "oxygen", "flow")
AXIS: dict[Alignment, str] = {
    "oven exit": "minutes from leaving the oven",
    "first pass": "minutes from the first arc",
    "clock": "hours of the day",
}
LEAST_SPAN_S = 60.0


def compare_chart(
    heats: Sequence[Compared], align: Alignment, width: float, height: float
) -> Drawing:
    """Draw the heats that have a zero, ``width`` by ``height`` points.

    A heat's dash follows from its place among all that were asked for, drawn or not.
    """
    drawing = Drawing(width, height)
    low_s, high_s = _span(heats)

    def x(at_s: float) -> float:
        return LEFT + (at_s - low_s) / (high_s - low_s) * (width - LEFT - RIGHT)

    panels = _panels(heats, height)
    _axis(drawing, x, (low_s, high_s), panels, align)
    for name, panel in panels.items():
        draw_frame(drawing, panel, width, name)
        for place, heat in enumerate(heats):
            _lines(drawing, panel, x, getattr(heat, name), (place, str(heat.record.heat_id)))
    return drawing


def _span(heats: Sequence[Compared]) -> tuple[float, float]:
    at_s = [
        point[0] for heat in heats for name in NAMES for run in getattr(heat, name) for point in run
    ]
    low, high = min(at_s, default=0.0), max(at_s, default=0.0)
    return low, max(high, low + LEAST_SPAN_S)


def _panels(heats: Sequence[Compared], height: float) -> dict[str, Panel]:
    def top(name: str) -> float:
        return max((p[1] for heat in heats for run in getattr(heat, name) for p in run), default=0)

    lower = [name for name in NAMES[1:] if any(getattr(heat, name) for heat in heats)]
    each = (height - FOOT - HEAD) * 0.2
    bottom = FOOT + len(lower) * (each + 8)
    top_c = math.ceil(max(100.0, top("temperature")) / 50 + 0.4) * 50
    panels = {"temperature": Panel(bottom, height - HEAD, 0.0, top_c)}
    for place, name in enumerate(lower):
        low = FOOT + (len(lower) - 1 - place) * (each + 8)
        panels[name] = (
            Panel(low, low + each, 1.0, 1e6, log=True)
            if name == "oxygen"
            else Panel(low, low + each, 0.0, math.ceil(max(5.0, top(name)) / 5) * 5)
        )
    return panels


def _axis(
    drawing: Drawing,
    x: Callable[[float], float],
    span_s: tuple[float, float],
    panels: dict[str, Panel],
    align: Alignment,
) -> None:
    unit_s = 3600.0 if align == "clock" else 60.0
    low, high = span_s[0] / unit_s, span_s[1] / unit_s
    steps = (0.25, 0.5, 1, 2, 3, 6, 12, 24) if align == "clock" else (1, 2, 5, 10, 15, 30, 60, 120)
    nice = next((each for each in steps if (high - low) / each <= 14), (high - low) / 10)
    for place in range(math.ceil(low / nice), math.floor(high / nice) + 1):
        at = x(place * nice * unit_s)
        drawing.add(Line(at, FOOT, at, FOOT - 3, strokeColor=black, strokeWidth=0.5))
        for panel in panels.values():
            zero = place == 0
            drawing.add(
                Line(
                    at, panel.bottom, at, panel.top,
                    strokeColor=GREY if zero else PALE, strokeWidth=0.8 if zero else 0.3,
                )
            )  # fmt: skip
        draw_text(drawing, at, FOOT - 10, f"{place * nice:g}", textAnchor="middle")
    draw_text(drawing, LEFT, FOOT - 19, AXIS[align])


def _lines(
    drawing: Drawing,
    panel: Panel,
    x: Callable[[float], float],
    runs: Sequence[Run],
    sign: tuple[int, str],
) -> None:
    """``sign``: the heat's place, from which its dash, and its number."""
    place, number = sign
    for run in runs:
        points = [coordinate for at_s, value in run for coordinate in (x(at_s), panel.y(value))]
        if len(run) == 1:
            points += [points[0] + 0.5, points[1]]
        line = PolyLine(points, strokeColor=black, strokeWidth=0.9)
        line.strokeDashArray = DASHES[place % len(DASHES)]
        drawing.add(line)
    drawn = [point for run in runs for point in run]
    if drawn:
        at_s, value = drawn[int((0.1 + 0.14 * place) * (len(drawn) - 1))]
        draw_text(
            drawing, x(at_s), panel.y(value) + 2.5, number,
            fontName="VeraBd", textAnchor="middle",
        )  # fmt: skip
