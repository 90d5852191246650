"""Figures about the service itself, for ``GET /metrics``."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.wiring import Metric
from service.collector import Collector
from service.sources.link import LinkStatus
from service.store.writer import WriterStatus
from service.wire.pack import RejectCause


def figures(
    status: WriterStatus, links: Sequence[LinkStatus], collector: Collector
) -> list[Metric]:
    """What a scraper may want to know.

    Args:
        status: The writer's.
        links: Every link's.
        collector: Counts the judge's failures and measures its checkpoints.
    """
    found = [
        Metric(
            "heatwindow_recording",
            "gauge",
            "1 while readings reach the database.",
            [({}, float(status.recording))],
        ),
        Metric(
            "heatwindow_readings_queued",
            "gauge",
            "Readings not on a disk yet.",
            [({}, float(status.queued))],
        ),
        Metric(
            "heatwindow_checkpoint_seconds",
            "gauge",
            "How long the judge was held up by its last checkpoint.",
            [({}, collector.checkpoints.took_s)],
        ),
        Metric(
            "heatwindow_checkpoint_bytes",
            "gauge",
            "Size of the judge's last checkpoint.",
            [({}, float(collector.checkpoints.size_bytes))],
        ),
    ]
    counters = {
        "heatwindow_readings_stored": ("New rows since the start.", status.committed),
        "heatwindow_readings_spooled": ("Readings that took the spool file.", status.spooled),
        "heatwindow_readings_lost": ("Readings that could be kept nowhere.", status.lost),
        "heatwindow_readings_duplicate": ("Second deliveries recognised.", status.duplicates),
        "heatwindow_judge_failures": ("Events whose handling failed.", collector.failures),
    }
    found += [
        Metric(name, "counter", text, [({}, float(value))])
        for name, (text, value) in counters.items()
    ]
    by_link = {
        "measurements": "Measurements decoded, by link.",
        "sums_ignored": "Sensors' own sums left aside, by link.",
        "resets": "Boards that powered up anew, by link.",
    }
    found += [
        Metric(
            f"heatwindow_link_{what}",
            "counter",
            text,
            [({"link": each.name}, float(getattr(each, what))) for each in links],
        )
        for what, text in by_link.items()
    ]
    found.append(
        Metric(
            "heatwindow_link_rejects",
            "counter",
            "Refusals, by link and cause.",
            [
                ({"link": each.name, "cause": cause.value}, float(each.rejects.get(cause, 0)))
                for each in links
                for cause in RejectCause
            ],
        )
    )
    return found
