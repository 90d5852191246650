"""A bank of extended Kalman filters, each one hypothesis about how the part cools.

Every hypothesis has the same six unknowns (a column each):

==========  =============================================================================
``BULK``    temperature the probe is heading along with: the slow mode [°C]
``DEPART``  departure of the probe from it, dying away as exp(−t/τ) [K]: gradients at
            the start, a bench warming up under the part, a cold probe, a pass just welded
``SCALE``   cooling rate at the hypothesis' reference temperature [K/s], negative = heating
``SHARE``   how the rate falls with temperature: 1 = radiation, 0 = natural convection; below 0
            the law is flatter than ΔT^1.25 (a draught or a blanket, where loss goes with ΔT)
``AROUND``  effective temperature of the surroundings [°C]
``DECAY``   natural log of the departure's decay time [s]
==========  =============================================================================

    d(bulk)/dt = −scale · [(1−share)·(ΔT/ΔTref)^1.25 + share·(T⁴−Ts⁴)/(Tref⁴−Ts⁴)] · c(Tref)/c(T)

The probe reads bulk + departure. The law is linear in scale and departure and nearly so in share,
so the filters are close to the exact Bayesian answer; what is not Gaussian (which decay time,
has the world changed, when) is spread over hypotheses, weighed by how well they predict.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from service.physics.heat_loss import convection_shape, radiation_shape
from service.physics.materials import Array, clipped, specific_heat_table
from service.units import ZERO_C_IN_K

BULK, DEPART, SCALE, SHARE, AROUND, DECAY = range(6)
SIZE = 6
_DECAY_RANGE = (0.4, 7.5)  # τ from 1.5 s to 30 min
_BULK_RANGE_C = (-150.0, 1500.0)
_MOST_DEPARTURE_K = 1650.0
_AROUND_RANGE_C = (-80.0, 1500.0)
_MOST_VARIANCE = 1e7
_SHARE_RANGE = (-1.5, 2.5)
_FASTEST_K_S = 50.0
_IDENTITY = np.eye(SIZE)
_TINY = 1e-9
_SUBSTEP_S = 15.0
_MAX_SUBSTEPS = 40


@dataclass(slots=True)
class Bank:
    """Hypotheses side by side; the first axis of every array counts them.

    Attributes:
        mean: Best values, shape (k, 6).
        cov: Covariances, shape (k, 6, 6).
        log_weight: Natural log of the relative weight, shape (k,).
        reference_c: Temperature at which ``SCALE`` is the rate [°C], shape (k,).
        drift: Random walk of the scale, relative, per root second, shape (k,).
        born_s: When the hypothesis' regime began [s], shape (k,).
        changed: It began with a change, not with the record, shape (k,).
        metal: Casting metal, for c(T).
        least_k_s: What ``SCALE`` may not fall below [K/s], shape (k,): under the best cover a
            part still loses heat. Minus infinity where heat may be going in.
    """

    mean: Array
    cov: Array
    log_weight: Array
    reference_c: Array
    drift: Array
    born_s: Array
    changed: npt.NDArray[np.bool_]
    metal: str
    least_k_s: Array = field(default_factory=lambda: np.zeros(0))
    capacity: tuple[Array, Array] = field(init=False)

    def __post_init__(self) -> None:
        self.capacity = specific_heat_table(self.metal)
        if len(self.least_k_s) != len(self.log_weight):
            self.least_k_s = np.full(len(self.log_weight), -np.inf)

    def __len__(self) -> int:
        return int(self.mean.shape[0])

    @property
    def tau_s(self) -> Array:
        """Decay time of the departure by hypothesis [s], shape (k,)."""
        return np.asarray(np.exp(self.mean[:, DECAY]))

    def set_around(self, around_c: float, sd_k: float) -> None:
        """Begin anew with the surroundings, which have been measured for the first time."""
        self.mean[:, AROUND] = around_c
        self.cov[:, AROUND, :] = 0.0
        self.cov[:, :, AROUND] = 0.0
        self.cov[:, AROUND, AROUND] = sd_k**2

    def weights(self) -> Array:
        """Weights that sum to 1, shape (k,)."""
        w = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(w / w.sum())

    def take(self, index: np.ndarray) -> Bank:
        """The chosen hypotheses, in the order of ``index``."""
        return Bank(
            self.mean[index],
            self.cov[index],
            self.log_weight[index],
            self.reference_c[index],
            self.drift[index],
            self.born_s[index],
            self.changed[index],
            self.metal,
            self.least_k_s[index],
        )

    def joined(self, other: Bank) -> Bank:
        """Both banks' hypotheses together."""
        return Bank(
            np.concatenate([self.mean, other.mean]),
            np.concatenate([self.cov, other.cov]),
            np.concatenate([self.log_weight, other.log_weight]),
            np.concatenate([self.reference_c, other.reference_c]),
            np.concatenate([self.drift, other.drift]),
            np.concatenate([self.born_s, other.born_s]),
            np.concatenate([self.changed, other.changed]),
            self.metal,
            np.concatenate([self.least_k_s, other.least_k_s]),
        )

    def pruned(self, most: int) -> Bank:
        """At most ``most`` hypotheses, the likeliest, weights normalised."""
        self.log_weight = self.log_weight - self.log_weight.max()
        if len(self) <= most:
            return self
        keep = np.sort(np.argsort(self.log_weight)[::-1][:most])
        return self.take(keep)

    def relative_capacity(self, temperature_c: Array, reference_c: Array) -> Array:
        """c(T)/c(Tref)."""
        grid, c = self.capacity
        return np.asarray(np.interp(temperature_c, grid, c) / np.interp(reference_c, grid, c))

    def advance(self, dt_s: float) -> None:
        """Carry every hypothesis ``dt_s`` seconds on, without a reading."""
        steps = min(_MAX_SUBSTEPS, max(1, int(np.ceil(dt_s / _SUBSTEP_S))))
        for _ in range(steps):
            self._step(dt_s / steps)
            self._give_up_lost()
        self._bound()

    def _give_up_lost(self) -> None:
        """A hypothesis that ran away stays lost (see ``sound``) and must not overflow."""
        lost = np.abs(self.cov).max(axis=(1, 2)) > _MOST_VARIANCE
        if lost.any():
            self.cov[lost] = 2.0 * _MOST_VARIANCE * _IDENTITY

    def sound(self) -> Bank:
        """The hypotheses that still say something.

        A law that heats the part the hotter it gets (a negative scale in cool surroundings, as
        under a torch) runs away when carried on for long; such a one is dropped. May be empty.
        """
        spread = np.abs(self.cov).max(axis=(1, 2))
        finite = np.isfinite(spread) & np.isfinite(self.mean).all(axis=1)
        keep = finite & np.isfinite(self.log_weight) & (spread < _MOST_VARIANCE)
        return self if bool(keep.all()) else self.take(np.flatnonzero(keep))

    def _step(self, dt: float) -> None:
        mean, ref = self.mean, self.reference_c
        bulk, scale, share, around = (mean[:, i] for i in (BULK, SCALE, SHARE, AROUND))
        middle = bulk
        rate = np.zeros_like(bulk)
        for _ in range(2 if dt > 2.0 else 1):
            conv = convection_shape(middle, around, ref)
            rad = radiation_shape(middle, around, ref)
            inv_c = 1.0 / self.relative_capacity(middle, ref)
            shape = (conv + share * (rad - conv)) * inv_c
            rate = clipped(scale * shape, -_FASTEST_K_S, _FASTEST_K_S)
            middle = bulk - 0.5 * dt * rate
        jac = self._jacobian(dt, bulk, conv=conv, rad=rad, inv_c=inv_c)
        mean[:, BULK] = clipped(bulk - dt * rate, *_BULK_RANGE_C)
        mean[:, DEPART] = mean[:, DEPART] * jac[:, DEPART, DEPART]
        cov = jac @ self.cov @ jac.transpose(0, 2, 1)
        cov[:, SCALE, SCALE] += (self.drift * scale) ** 2 * dt + _TINY * dt
        cov[:, BULK, BULK] += 1e-5 * dt
        self.cov = cov

    def _jacobian(self, dt: float, bulk: Array, *, conv: Array, rad: Array, inv_c: Array) -> Array:
        ref = self.reference_c
        scale, share, around = (self.mean[:, i] for i in (SCALE, SHARE, AROUND))
        shape = (conv + share * (rad - conv)) * inv_c
        above = bulk - around
        above = np.where(np.abs(above) < 1.0, np.copysign(1.0, above), above)
        ref_above = ref - around
        around_k, ref_k, bulk_k = around + ZERO_C_IN_K, ref + ZERO_C_IN_K, bulk + ZERO_C_IN_K
        ref4 = np.square(np.square(ref_k)) - np.square(np.square(around_k))
        by_bulk = (1 - share) * 1.25 * conv / above + share * 4 * (bulk_k * bulk_k * bulk_k) / ref4
        by_around = (1 - share) * 1.25 * conv * (1 / ref_above - 1 / above)
        by_around += share * 4 * (around_k * around_k * around_k) / ref4 * (rad - 1)
        jac = np.zeros((len(self), SIZE, SIZE))
        jac[:] = _IDENTITY
        jac[:, BULK, BULK] = np.exp(-clipped(dt * scale * by_bulk * inv_c, -1.0, 5.0))
        jac[:, BULK, SCALE] = -dt * shape
        jac[:, BULK, SHARE] = -dt * scale * (rad - conv) * inv_c
        jac[:, BULK, AROUND] = -dt * scale * by_around * inv_c
        share_of_tau = dt / self.tau_s
        left = np.exp(-share_of_tau)
        jac[:, DEPART, DEPART] = left
        jac[:, DEPART, DECAY] = self.mean[:, DEPART] * left * share_of_tau
        return jac

    def predicted(self) -> tuple[Array, Array]:
        """What each hypothesis expects the probe to read [°C], and its variance [K²]."""
        value = self.mean[:, BULK] + self.mean[:, DEPART]
        cov = self.cov
        variance = cov[:, BULK, BULK] + 2 * cov[:, BULK, DEPART] + cov[:, DEPART, DEPART]
        return value, np.maximum(variance, 0.0)

    def update(self, temperature_c: float, noise_var: float, gate: float = 4.0) -> None:
        """Weigh and correct every hypothesis by one reading.

        A reading more than ``gate`` standard deviations off is taken as noisier than the rest
        (so that one spike cannot throw the fit) and costs its hypothesis a bounded amount.
        """
        value, variance = self.predicted()
        off = temperature_c - value
        total = variance + noise_var
        ratio = off**2 / total
        total = np.where(ratio > gate**2, np.maximum(total, off**2 / gate**2), total)
        surprise = np.minimum(ratio, gate**2 + 2 * np.log1p(np.maximum(ratio - gate**2, 0)))
        self.log_weight = self.log_weight - 0.5 * (surprise + np.log(variance + noise_var))
        column = self.cov[:, :, BULK] + self.cov[:, :, DEPART]
        gain = column / total[:, None]
        self.mean = self.mean + gain * off[:, None]
        self.cov = self.cov - gain[:, :, None] * column[:, None, :]
        self._keep_losing()
        self._bound()

    def _keep_losing(self) -> None:
        """Move what has come to lose less than it can to the least loss, at the price of weight."""
        short = np.maximum(self.least_k_s - self.mean[:, SCALE], 0.0)
        if not short.any():
            return
        variance = self.cov[:, SCALE, SCALE] + _TINY
        self.mean = self.mean + (short / variance)[:, None] * self.cov[:, :, SCALE]
        self.log_weight = self.log_weight - 0.5 * short**2 / variance

    def update_side(self, limit_c: float, limit_var: float, *, above: bool) -> None:
        """Weigh and correct every hypothesis by "the probe is above (or below) ``limit_c``".

        The normal of each is cut off at the limit, itself uncertain by ``limit_var`` [K²], and
        what is left is replaced by the normal of the same mean and variance.
        """
        value, variance = self.predicted()
        sign = 1.0 if above else -1.0
        total = np.sqrt(variance + limit_var)
        z = clipped(sign * (value - limit_c) / total, -6.0, 6.0)
        inside = np.array([0.5 * math.erfc(-x / math.sqrt(2.0)) for x in z])
        edge = np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi) / inside
        self.log_weight = self.log_weight + np.log(inside)
        column = (self.cov[:, :, BULK] + self.cov[:, :, DEPART]) / total[:, None]
        self.mean = self.mean + sign * edge[:, None] * column
        self._bound()
        shrink = edge * (edge + z)
        self.cov = self.cov - shrink[:, None, None] * column[:, :, None] * column[:, None, :]

    def _bound(self) -> None:
        """Keep what a hypothesis may believe inside what can be; a lost one must not overflow."""
        mean, ref = self.mean, self.reference_c
        mean[:, BULK] = clipped(mean[:, BULK], *_BULK_RANGE_C)
        mean[:, SCALE] = clipped(mean[:, SCALE], -_FASTEST_K_S, _FASTEST_K_S)
        mean[:, SHARE] = clipped(mean[:, SHARE], *_SHARE_RANGE)
        mean[:, DECAY] = clipped(mean[:, DECAY], *_DECAY_RANGE)
        mean[:, DEPART] = clipped(mean[:, DEPART], -_MOST_DEPARTURE_K, _MOST_DEPARTURE_K)
        mean[:, AROUND] = clipped(mean[:, AROUND], *_AROUND_RANGE_C)
        # The law is anchored at ref, which must stay on its own side of the surroundings.
        apart = ref - mean[:, AROUND]
        mean[:, AROUND] = ref - np.where(
            apart >= 0, np.maximum(apart, 5.0), np.minimum(apart, -5.0)
        )

    def rates(self) -> tuple[Array, Array]:
        """Rate of the probe [K/s] (negative = cooling) by hypothesis, and its variance."""
        bulk, scale, share, around = (self.mean[:, i] for i in (BULK, SCALE, SHARE, AROUND))
        conv = convection_shape(bulk, around, self.reference_c)
        rad = radiation_shape(bulk, around, self.reference_c)
        shape = (conv + share * (rad - conv)) / self.relative_capacity(bulk, self.reference_c)
        tau_s = self.tau_s
        rate = -scale * shape - self.mean[:, DEPART] / tau_s
        cov = self.cov
        variance = shape**2 * cov[:, SCALE, SCALE]
        variance += 2 * shape * cov[:, SCALE, DEPART] / tau_s
        variance += cov[:, DEPART, DEPART] / tau_s**2
        variance += (scale * (rad - conv)) ** 2 * cov[:, SHARE, SHARE]
        variance += 2 * shape * scale * (rad - conv) * cov[:, SCALE, SHARE]
        return rate, np.maximum(variance, 1e-12)
