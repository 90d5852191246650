"""Forecasts of several probes made into one for the part."""

from __future__ import annotations

from collections.abc import Sequence

from service.readings import Forecast, Spread


def earliest(forecasts: Sequence[Forecast | None]) -> Forecast | None:
    """When the first of several things happens: the least of each quantile.

    One that cannot be said makes the whole unsayable, since it might be the first.
    """
    unsaid = _unsaid(forecasts)
    if unsaid is not None or not forecasts:
        return unsaid
    spreads = [f.time_left_s for f in forecasts if f is not None and f.time_left_s is not None]
    ends = [s.p95 for s in spreads if s.p95 is not None]
    spread = Spread(
        min(s.p05 for s in spreads), min(s.p50 for s in spreads), min(ends) if ends else None
    )
    first = min((f for f in forecasts if f is not None), key=_median)
    return Forecast(spread, first.reason)


def latest(forecasts: Sequence[Forecast | None]) -> Forecast | None:
    """When the last of several things has happened: the greatest of each quantile."""
    unsaid = _unsaid(forecasts)
    if unsaid is not None or not forecasts:
        return unsaid
    spreads = [f.time_left_s for f in forecasts if f is not None and f.time_left_s is not None]
    ends = [s.p95 for s in spreads]
    known = [end for end in ends if end is not None]
    spread = Spread(
        max(s.p05 for s in spreads),
        max(s.p50 for s in spreads),
        max(known) if len(known) == len(ends) else None,
    )
    last = max((f for f in forecasts if f is not None), key=_median)
    return Forecast(spread, last.reason)


def _unsaid(forecasts: Sequence[Forecast | None]) -> Forecast | None:
    for forecast in forecasts:
        if forecast is None:
            return Forecast(None, "the temperature is in doubt")
        if forecast.time_left_s is None:
            return forecast
    return None


def _median(forecast: Forecast) -> float:
    return forecast.time_left_s.p50 if forecast.time_left_s is not None else 0.0
