"""The purge of one cavity: how much oxygen is left, is it clear, when will it be.

The measured flow drives a few hundred possible cavities (``purge_members``); with an oxygen sensor
their sensors are weighed against its readings (``purge_sensor``). "Clear" always means that the
pessimistic bound (95 %) is below the limit. Litres are counted cold: at 20 °C and 101 325 Pa.

The tool advises: it sees the cavity's gas, not the root. Argon displaces the air one breathes.
"""

from __future__ import annotations

from operator import attrgetter
from typing import Literal

import numpy as np

from service.physics.materials import quantiles
from service.physics.purge_filter import observe, suspect_dead_leg
from service.physics.purge_flow import FlowRecord
from service.physics.purge_forecast import (
    LEVELS,
    forecast_of_times,
    not_before,
    seconds_to_clear,
    volume_allowance,
)
from service.physics.purge_members import STEP_S, Members, Surroundings, step
from service.physics.purge_priors import PurgeSetup, check_celsius, check_finite, check_limit
from service.physics.purge_priors import flow_members as members_by_flow
from service.physics.purge_sensor import AGES_AFTER_S, Sensed, sensed, weighted_quantiles
from service.physics.purge_trend import BoundBefore, GasTemperature
from service.physics.purge_troubles import LEAST_SUSPECT_PPM, SUSPECT_OF_FLOW, PurgeNow, troubles
from service.readings import Forecast, Spread

__all__ = ["Basis", "Purge", "PurgeSetup"]

Basis = Literal["flow", "oxygen sensor"]
UPSET_S = 45.0
"""A sensor in the outlet has seen a change at the joint after this [s]: a few lags and residence
times [judgement]."""

LEARNT_BELOW_PPM = 10_000.0
"""A cavity is learnt once three volume changes' worth of oxygen has gone [judgement]."""

_LEARNT_UPDATES = 20
"""Sensor readings after which the cavity has been learnt well enough to be kept in mind."""
UNHEARD_MOST_S = 3600.0


class Purge:
    """One cavity from the moment it is closed, full of air.

    Times are seconds on one monotonic scale; they must not go back. A reading stamped before what
    has already been worked through counts from now on.

    Args:
        setup: What is known of the cavity.
        t_s: Time at which the cavity is closed, full of air [s].
    """

    def __init__(self, setup: PurgeSetup, t_s: float) -> None:
        check_finite("time", t_s)
        self.setup = setup
        self._t_s = t_s
        self._flow = FlowRecord(usual_interval_s=setup.interval_s)
        known = setup.cavity_volume_l is not None
        self._by_flow: Members | None = members_by_flow(setup) if known else None
        self._proof: Members | None = None
        self._sensed: Sensed = sensed(setup)
        self._gas = GasTemperature()
        self._wall = GasTemperature()
        self._wall_throughout = False
        self._sensor_lost = False
        self.open_share = 1.0
        self._welding = False
        self._bound_before = BoundBefore()

    # What is measured ---------------------------------------------------------------------

    def observe_flow(
        self, t_s: float, argon_flow_l_min: float | None, by_hand: bool = False
    ) -> None:
        """Take a flow reading.

        Args:
            t_s: Time [s].
            argon_flow_l_min: Flow [l/min at 20 °C, 1 atm], true argon litres; a small negative
                zero error counts as 0. ``None``: the flow is unknown from here on (bad, stale);
                the bound then assumes none and lets air come back.
            by_hand: Typed, not measured: an estimate, which never makes the purge clear.

        Raises:
            ValueError: A number that is not finite.
        """
        check_finite("time", t_s)
        if argon_flow_l_min is not None:
            check_finite("argon flow", argon_flow_l_min)
            argon_flow_l_min = max(argon_flow_l_min, 0.0)
        self.advance(t_s)
        if by_hand and argon_flow_l_min is not None and self._proof is None and self._by_flow:
            self._proof = self._by_flow.copy()
        before, since_s = self._flow.current(), self._held_for_s()
        if abs((argon_flow_l_min or 0.0) - (before or 0.0)) > 0.5 * (before or 0.0):
            self._sensed.begin_anew()
        self._flow.observe(self._t_s, argon_flow_l_min, by_hand)
        now = argon_flow_l_min
        if before is not None and since_s > 0 and (now is None or now < 0.5 * before):
            # It may have fallen right after the last reading: let the air in for that time too.
            self._step(since_s, now)

    def observe_oxygen(self, t_s: float, oxygen_ppm: float | None) -> None:
        """Take an oxygen reading.

        Args:
            t_s: Time [s].
            oxygen_ppm: Oxygen at the outlet [ppm]; ``None``: the sensor has failed or gone.

        Raises:
            ValueError: Not finite, below 0 or above 1 000 000 ppm.
        """
        check_finite("time", t_s)
        if oxygen_ppm is not None and not 0.0 <= oxygen_ppm <= 1e6:
            raise ValueError(f"oxygen {oxygen_ppm:g} ppm is outside 0 to 1 000 000 ppm")
        self.advance(t_s)
        self._sensor_lost = oxygen_ppm is None
        if oxygen_ppm is not None:
            self._suspect(oxygen_ppm)
            observe(self._sensed, self._t_s, oxygen_ppm, self._flow.current() or 0.0)

    def _suspect(self, oxygen_ppm: float) -> None:
        flow, bound = self._flow.current(), self._bound_before.then_ppm(self._t_s)
        if self._sensed.suspected or bound is None or not flow:
            return
        if oxygen_ppm > max(SUSPECT_OF_FLOW * bound, LEAST_SUSPECT_PPM):
            suspect_dead_leg(self._sensed, flow)

    def observe_gas_temperature(self, t_s: float, temperature_c: float) -> None:
        """Take the temperature of the gas in the cavity [°C].

        Raises:
            ValueError: Not finite, or outside -50 to 1400 °C.
        """
        check_finite("time", t_s)
        check_celsius("gas", temperature_c)
        self.advance(t_s)
        self._gas.observe(self._t_s, temperature_c)

    def observe_wall_temperature(
        self, t_s: float, temperature_c: float, throughout: bool = False
    ) -> None:
        """Take the temperature of the casting [°C], where the gas itself is not measured.

        The gas is then taken to be anywhere between the shop and the wall: the draught through
        the gaps counts with whichever pulls more, the expansion with a part of the wall's excess:
        a small one, unless the casting is about that hot ``throughout``, as out of an oven.

        Raises:
            ValueError: Not finite, or outside -50 to 1400 °C.
        """
        check_finite("time", t_s)
        check_celsius("wall", temperature_c)
        self.advance(t_s)
        self._wall.observe(self._t_s, temperature_c)
        self._wall_throughout = throughout

    def joint_open(self, t_s: float, share: float) -> None:
        """Say what share of the joint is open: 1 before the first tack, 0 with the root closed.

        Raises:
            ValueError: A share outside 0 to 1.
        """
        if not 0.0 <= share <= 1.0:
            raise ValueError(f"open share of the joint {share:g} is outside 0 to 1")
        self.advance(t_s)
        self.open_share = share

    def arc(self, on: bool) -> None:
        """Say whether the arc is on: oxygen that rises then has other causes to look at."""
        self._welding = on

    def advance(self, t_s: float) -> None:
        """Let time pass up to ``t_s`` [s]; an earlier time changes nothing.

        Of a longer time without a word only ``UNHEARD_MOST_S`` are worked through: by then the
        cavity is full of air again, or as clear as its gas ever makes it.
        """
        check_finite("time", t_s)
        self._work_through(min(t_s, self._t_s + UNHEARD_MOST_S))
        self._t_s = max(self._t_s, t_s)
        if self._by_flow is not None and self._bound_before.due(self._t_s):
            (bound,) = quantiles(self._by_flow.oxygen_ppm, LEVELS[2:])
            self._bound_before.add(self._t_s, bound, self._sensed.slowest_s)

    def _work_through(self, t_s: float) -> None:
        while self._t_s < t_s:
            dt_s = min(STEP_S, t_s - self._t_s)
            stale_s = self._flow.stale_at_s
            if stale_s is not None and not self._flow.lost:
                if self._t_s >= stale_s:
                    held_s = self._held_for_s()
                    self._flow.lose(self._t_s)
                    self._step(held_s, None)
                else:
                    dt_s = min(dt_s, stale_s - self._t_s)
            self._step(dt_s, self._flow.settle(dt_s), self._flow.current())
            # Adding a difference too small to count would loop for ever.
            self._t_s = t_s if t_s - self._t_s - dt_s < 1e-9 else self._t_s + dt_s

    def _step(
        self, dt_s: float, flow_l_min: float | None, sweeping_l_min: float | None = None
    ) -> None:
        around = self._around(flow_l_min, sweeping_l_min)
        measured = self._around(None if self._flow.by_hand else flow_l_min, sweeping_l_min)
        left_s = dt_s
        while left_s > 1e-9:
            part_s = min(left_s, max(STEP_S, dt_s / 100.0))
            for members in (self._by_flow, self._sensed.members):
                if members is not None:
                    step(members, around, part_s)
            if self._proof is not None:
                step(self._proof, measured, part_s)
            self._sensed.follow(part_s)
            left_s -= part_s

    def _around(
        self, flow_l_min: float | None, sweeping_l_min: float | None = None
    ) -> Surroundings:
        cooling = self._wall if self._gas.temperature_c is None else self._gas
        return Surroundings(
            flow_l_min=flow_l_min,
            last_flow_l_min=0.0 if self._flow.by_hand else self._flow.last_known_l_min,
            gas_temperature_c=self._gas.temperature_c,
            gas_cooling_k_per_s=cooling.cooling_k_per_s,
            hose_volume_l=self.setup.hose_volume_l,
            open_share=self.open_share,
            wall_temperature_c=self._wall.temperature_c,
            wall_throughout=self._wall_throughout,
            sweeping_l_min=sweeping_l_min,
        )

    def _held_for_s(self) -> float:
        return 0.0 if self._flow.at_s is None else self._t_s - self._flow.at_s

    # What is known ------------------------------------------------------------------------

    @property
    def used_l(self) -> float:
        """Argon through the meter since the start [l at 20 °C, 1 atm]; gaps count nothing."""
        return self._flow.used_l + self._flow.held_l(self._t_s)

    @property
    def flow_l_min(self) -> float | None:
        """The flow now [l/min]; ``None`` when unknown."""
        return self._flow.current()

    @property
    def basis(self) -> Basis:
        """What the answer rests on: the flow alone, or an oxygen sensor that is speaking."""
        last_s = self._sensed.last_s
        if self._sensor_lost or last_s is None or self._t_s - last_s > AGES_AFTER_S:
            return "flow"
        return "oxygen sensor"

    def oxygen(self) -> Spread | None:
        """Oxygen at the joint now [ppm]: 5, 50 and 95 % points; ``None`` when nothing is known."""
        quantiles = self._quantiles(self._by_flow)
        return None if quantiles is None else Spread(*quantiles)

    def clear(self, limit_ppm: float) -> bool:
        """Whether the pessimistic bound is below the limit; never by a flow typed in by hand.

        Args:
            limit_ppm: Highest oxygen allowed [ppm], above 0 and below air.

        Raises:
            ValueError: The limit is outside its range.
        """
        check_limit(limit_ppm)
        trusted = self._by_flow if self._proof is None else self._proof
        quantiles = self._quantiles(trusted)
        return quantiles is not None and quantiles[2] < limit_ppm

    def clear_in(self, limit_ppm: float) -> Forecast:
        """Seconds from the last advance until clear, with the present flow going on.

        ``p95`` is when :meth:`clear` will say so; ``p50`` is the best estimate.

        Raises:
            ValueError: The limit is outside its range.
        """
        check_limit(limit_ppm)
        if self.clear(limit_ppm):
            return Forecast(Spread(0.0, 0.0, 0.0), "already clear")
        reason = self._no_forecast()
        if reason is not None:
            return Forecast(None, reason)
        around = self._around(self._flow.current())
        if self.basis == "oxygen sensor":
            sensor = self._sensed
            weight = sensor.joint_weight()
            times = seconds_to_clear(sensor.members, around, sensor.joint_ppm, weight, limit_ppm)
            in_leg_s = sensor.hidden_below_in_s(limit_ppm)
            return not_before(forecast_of_times(times, weight, limit_ppm), in_leg_s)
        if self._by_flow is not None:
            weight = np.full(len(self._by_flow.volume_l), 1.0 / len(self._by_flow.volume_l))
            times = seconds_to_clear(
                self._by_flow, around, attrgetter("oxygen_ppm"), weight, limit_ppm
            )
        else:
            return Forecast(None, "the cavity volume is not known")
        return forecast_of_times(times, weight, limit_ppm)

    def volume_may_be_over(self, limit_ppm: float) -> float | None:
        """Up to how many times the stated volume the cavity may hold and still be below the limit.

        By the flow alone, with 95 % confidence in mixing, meter and gaps: 1.3 means that a cavity
        30 % larger than stated would still be below; below 1 the stated one is not clear yet.
        ``None`` without a volume. A dead leg is not counted: flow cannot see it.

        Raises:
            ValueError: The limit is outside its range.
        """
        check_limit(limit_ppm)
        if self._by_flow is None or self.setup.cavity_volume_l is None:
            return None
        return volume_allowance(self._by_flow, self.setup.cavity_volume_l, limit_ppm)

    def learnt_volume_l(self) -> Spread | None:
        """Volume the cavity has behaved as, learnt from the sensor [l].

        Cavity and mixing together: what to give as the volume next time. ``None`` without a
        sensor, before it has seen the oxygen fall, and when a dead leg is suspected: what rules
        then is no volume.
        """
        sensor = self._sensed
        fallen = sensor.last_ppm is not None and sensor.last_ppm < LEARNT_BELOW_PPM
        if sensor.updates < _LEARNT_UPDATES or sensor.suspected or not fallen:
            return None
        acted = sensor.members.volume_l / sensor.members.meter
        return Spread(*weighted_quantiles(acted, sensor.weight, LEVELS))

    def troubles(self) -> list[str]:
        """Named troubles in words, each with what to look at; empty when nothing is amiss."""
        return troubles(
            PurgeNow(
                t_s=self._t_s,
                flow=self._flow,
                around=self._around(self._flow.current()),
                by_flow=self._by_flow,
                sensed=self._sensed,
                bound_before_ppm=self._bound_before.then_ppm(self._t_s),
                limit_ppm=self.setup.limit_ppm,
                volume_l=self.setup.cavity_volume_l,
                sensor_lost=self._sensor_lost,
                sensor_overdue=self.setup.sensor_overdue,
                open_share=self.open_share,
                welding=self._welding,
            )
        )

    def _no_forecast(self) -> str | None:
        flow = self._flow.current()
        if flow is None:
            return "the flow is not known"
        if flow <= 0.0:
            return "no argon is flowing"
        if self._flow.by_hand and self.basis == "flow":
            return "a flow typed in by hand is an estimate and never gives clear"
        return None

    def _quantiles(self, by_flow: Members | None) -> list[float] | None:
        sensor = self._sensed
        flow_only, learnt = None, None
        if by_flow is not None:
            flow_only = quantiles(by_flow.oxygen_ppm, LEVELS)
        if self.basis == "oxygen sensor" or sensor.updates >= _LEARNT_UPDATES:
            learnt = weighted_quantiles(
                sensor.joint_ppm(sensor.members), sensor.joint_weight(), LEVELS
            )
            # What a dead leg may hold is worked out from its tail besides, for the upper end.
            learnt[2] = max(learnt[2], sensor.hidden_ppm() or 0.0)
        if self.basis == "oxygen sensor" and learnt is not None:
            # Neither end goes beyond what the sensor itself leaves room for; nor, until it has had
            # time to see a fallen flow, is the upper one more hopeful than the flow.
            learnt[0] = min(learnt[0], sensor.trend.least_ppm())
            learnt[2] = max(learnt[2], sensor.shown_ppm())
            if flow_only is not None and self._upset():
                learnt[2] = max(learnt[2], flow_only[2])
            return learnt
        if flow_only is None or learnt is None:
            return flow_only
        # The sensor has gone, what it taught has not: neither may be more hopeful than the other.
        return [max(pair) for pair in zip(flow_only, learnt, strict=True)]

    def _upset(self) -> bool:
        at_s = self._flow.upset_at_s
        return at_s is not None and self._t_s - at_s <= UPSET_S
