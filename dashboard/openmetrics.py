"""Figures about the service as OpenMetrics text (OpenMetrics 1.0)."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping

from dashboard.wiring import Metric

CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"

_NAME = re.compile(r"[a-zA-Z_:][a-zA-Z0-9_:]*")
_LABEL = re.compile(r"[a-zA-Z_][a-zA-Z0-9_]*")


def render(metrics: Iterable[Metric]) -> str:
    """Exposition text, ending with ``# EOF``.

    Raises:
        ValueError: A name or label outside the grammar of the standard, or a family twice.
    """
    lines: list[str] = []
    seen: set[str] = set()
    for metric in metrics:
        if not _NAME.fullmatch(metric.name) or metric.name.endswith("_total"):
            raise ValueError(f"{metric.name!r} is not a metric family name")
        if metric.name in seen:
            raise ValueError(f"metric family {metric.name!r} is given twice")
        seen.add(metric.name)
        lines.append(f"# TYPE {metric.name} {metric.kind}")
        lines.append(f"# HELP {metric.name} {_escape(metric.text)}")
        suffix = "_total" if metric.kind == "counter" else ""
        lines.extend(
            f"{metric.name}{suffix}{_labels(labels)} {_number(value)}"
            for labels, value in metric.samples
        )
    lines.append("# EOF\n")
    return "\n".join(lines)


def _labels(labels: Mapping[str, str]) -> str:
    if not labels:
        return ""
    for name in labels:
        if not _LABEL.fullmatch(name):
            raise ValueError(f"{name!r} is not a label name")
    return "{" + ",".join(f'{name}="{_escape(value)}"' for name, value in labels.items()) + "}"


def _escape(text: str) -> str:
    return text.replace("\\", r"\\").replace("\n", r"\n").replace('"', r"\"")


def _number(value: float) -> str:
    """OpenMetrics spells the specials ``NaN``, ``+Inf`` and ``-Inf``; other numbers as Python."""
    if math.isnan(value):
        return "NaN"
    if math.isinf(value):
        return "+Inf" if value > 0 else "-Inf"
    return repr(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(value)
