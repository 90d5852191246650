"""How the outlets are doing, as JSON for the page and as figures for a scraper."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.wiring import Metric
from service.notify.forms import rfc3339
from service.notify.outlet import OutletStatus, Trial


def outlet_body(status: OutletStatus) -> dict[str, object]:
    """One outlet as ``/healthz`` and ``/api/v1/outlets`` show it."""
    return {
        "key": status.key,
        "name": status.name,
        "running": status.running,
        "working": status.working,
        "told": status.told,
        "failed": status.failed,
        "dropped": status.dropped,
        "waiting": status.waiting,
        "last_error": status.last_error,
        "trial": None if status.trial is None else _trial(status.trial),
    }


def _trial(trial: Trial) -> dict[str, object]:
    return {"at": rfc3339(trial.at_us), "state": trial.state, "text": trial.text}


def outlet_figures(outlets: Sequence[OutletStatus]) -> list[Metric]:
    """What a scraper may want to know of them."""
    if not outlets:
        return []
    known = [(each, {"outlet": each.key}) for each in outlets]
    working = [(name, float(each.working)) for each, name in known if each.working is not None]
    counters = {
        "heatwindow_outlet_told": ("Messages that got through.", "told"),
        "heatwindow_outlet_failed": ("Messages given up.", "failed"),
        "heatwindow_outlet_dropped": ("Messages the queue had no room for.", "dropped"),
    }
    found = [
        Metric(
            name, "counter", text, [(label, float(getattr(each, what))) for each, label in known]
        )
        for name, (text, what) in counters.items()
    ]
    if working:
        text = "1 when the last attempt got through."
        found.append(Metric("heatwindow_outlet_working", "gauge", text, working))
    return found
