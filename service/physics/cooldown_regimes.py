"""How regimes begin: the hypotheses a bank starts from, and those a change adds."""

from __future__ import annotations

import numpy as np

from service.physics.cooldown_bank import AROUND, BULK, DECAY, DEPART, SCALE, SHARE, SIZE, Bank
from service.physics.cooldown_kinds import FIRST, HEATING, Regime
from service.physics.cooldown_values import PastLaw
from service.physics.heat_loss import (
    convection_shape,
    radiation_coefficient_w_m2_k,
    radiation_shape,
)
from service.physics.materials import Array, emissivity, specific_heat_table

USUAL_SHARE_SD = 0.25
_LEAST_LOSS = 0.04  # of the loss before: under 50 mm of fibre, and nothing goes round it
_LEAST_K_S = 0.02  # least spread of a new cooling rate
_FREE_FROM, _FREE_SHARE = 0.4, 0.5
_SHARE_SD_MOST = 0.45
_LASTED_S, _CALM_S = 60.0, 15.0
_DISTURBED = 0.08  # of the height: more than a casting's own parts differ


def past_rate_k_s(past: PastLaw, metal: str, part_c: float, around_c: float) -> tuple[float, float]:
    """Cooling rate that a past heat makes likely now, and its standard deviation [K/s].

    30 %: the part stands elsewhere, in other air, with other things around it.
    """
    here, around, ref = np.array(part_c), np.array(around_c), np.array(past.at_c)
    conv = convection_shape(here, around, ref)
    shape = conv + past.radiative_share * (radiation_shape(here, around, ref) - conv)
    grid, c = specific_heat_table(metal)
    shape = shape * np.interp(past.at_c, grid, c) / np.interp(part_c, grid, c)
    rate = max(past.rate_k_s * float(shape), 1e-4)
    return rate, 0.3 * rate


def usual_rate_k_s(
    metal: str, mass_kg: float | None, area_m2: float | None, part_c: float, around_c: float
) -> tuple[float, float]:
    """Likely bare cooling rate and its standard deviation [K/s], both positive.

    From mass and area where known (h·A·ΔT/(m·c), natural convection of 8.5 W/(m²·K) for
    castings of 50 to 200 mm plus radiation), otherwise from what castings and tube span:
    0.1 to 1 K/s at 350 °C.
    """
    height = max(abs(part_c - around_c), 5.0)
    likely, _ = emissivity(metal)
    loss_w_m2_k = 8.5 + radiation_coefficient_w_m2_k(likely, part_c, around_c)
    if mass_kg is None or area_m2 is None:
        per_area_j_m2_k = 20_000.0  # about 5 mm of iron losing heat on one side
        typical = loss_w_m2_k * height / per_area_j_m2_k
        return typical, 1.2 * typical
    grid, c = specific_heat_table(metal)
    capacity = mass_kg * float(np.interp(part_c, grid, c))
    rate = loss_w_m2_k * area_m2 * height / capacity
    return rate, 0.4 * rate


def usual_share(metal: str, part_c: float, around_c: float) -> float:
    """Likely radiative share of a bare part's loss at a temperature.

    Emissivity and 8.5 W/(m²·K) of natural convection as above: 0.64 at 300 °C, 0.72 at 400 °C
    for iron; bright tube has less, which ``USUAL_SHARE_SD`` covers.
    """
    radiated = radiation_coefficient_w_m2_k(emissivity(metal)[0], part_c, around_c)
    return radiated / (radiated + 8.5)


def _share_at(share: float, ref_c: float, around_c: float, new_ref_c: float) -> float:
    """The same law's radiative share when anchored at another temperature."""
    here, around, ref = np.array(new_ref_c), np.array(around_c), np.array(ref_c)
    conv = float(convection_shape(here, around, ref))
    rad = float(radiation_shape(here, around, ref))
    whole = conv + share * (rad - conv)
    if not (conv > 0 and whole > 0.2 * conv):
        return share
    return float(np.clip(share * rad / whole, -0.7, 1.3))


def first_bank(
    t_s: float,
    temperature_c: float,
    noise_var: float,
    *,
    around: tuple[float, float],
    rate: tuple[float, float],
    metal: str,
    share: tuple[float, float],
) -> Bank:
    """The hypotheses at the very first reading.

    Args:
        t_s: Time of the reading [s].
        temperature_c: The reading [°C].
        noise_var: Its variance [K²].
        around: Surroundings and their standard deviation [°C].
        rate: Likely cooling rate and its standard deviation [K/s].
        metal: Casting metal.
        share: Likely radiative share and its standard deviation.
    """
    around_c, around_sd = around
    k = len(FIRST)
    height = max(abs(temperature_c - around_c), 5.0)
    mean = np.zeros((k, SIZE))
    cov = np.zeros((k, SIZE, SIZE))
    mean[:, BULK] = temperature_c
    mean[:, SCALE] = rate[0]
    mean[:, SHARE] = share[0]
    mean[:, AROUND] = around_c
    cov[:, BULK, BULK] = noise_var + 4.0
    cov[:, SCALE, SCALE] = rate[1] ** 2
    cov[:, SHARE, SHARE] = share[1] ** 2
    cov[:, AROUND, AROUND] = around_sd**2
    bank = _empty_like(
        mean, cov, t_s, FIRST, metal=metal, ref_c=_reference(temperature_c, around_c)
    )
    _spread_departure(bank, FIRST, height)
    # Smooth, at the very first: the probe was level (in the oven) and only begins to cool.
    behind = np.array([r.tau_s if r.smooth else 0.0 for r in FIRST]) * rate[0]
    bank.mean[:, BULK] += behind
    bank.mean[:, DEPART] -= behind
    return bank


def _reference(temperature_c: float, around_c: float) -> float:
    """Where the scale is anchored: here, unless that is too close to the surroundings."""
    if abs(temperature_c - around_c) >= 25.0:
        return temperature_c
    return around_c + (25.0 if temperature_c >= around_c else -25.0)


def _empty_like(
    mean: Array,
    cov: Array,
    t_s: float,
    regimes: tuple[Regime, ...],
    *,
    metal: str,
    ref_c: float,
) -> Bank:
    k = len(regimes)
    departs = np.array([r.tau_s > 0 for r in regimes])
    mean[:, DECAY] = np.log([r.tau_s or 1.0 for r in regimes])
    cov[:, DECAY, :] = 0.0
    cov[:, :, DECAY] = 0.0
    cov[:, DECAY, DECAY] = np.where(departs, np.array([r.tau_sd for r in regimes]) ** 2, 0.0)
    return Bank(
        mean,
        cov,
        np.log(np.array([r.weight for r in regimes])),
        np.full(k, ref_c),
        np.array([r.drift for r in regimes]),
        np.full(k, t_s),
        np.full(k, regimes is not FIRST),
        metal,
    )


def _spread_departure(bank: Bank, regimes: tuple[Regime, ...], height_k: float) -> None:
    """Let probe and slow mode part without moving the reading: their errors are opposite."""
    size = np.array([r.depart[0] for r in regimes]) * height_k
    bank.mean[:, BULK] -= size
    bank.mean[:, DEPART] += size
    var = (np.array([r.depart[1] for r in regimes]) * height_k) ** 2
    bank.cov[:, BULK, BULK] += var
    bank.cov[:, DEPART, DEPART] += var
    bank.cov[:, BULK, DEPART] -= var
    bank.cov[:, DEPART, BULK] -= var
    # Smooth: departure = −τ · (change of rate), so that the two cancel at the start.
    lag_s = np.array([r.tau_s if r.smooth else 0.0 for r in regimes])
    tied = lag_s * bank.cov[:, SCALE, SCALE]
    for a, b, by in (
        (BULK, BULK, lag_s), (DEPART, DEPART, lag_s), (BULK, DEPART, -lag_s),
        (DEPART, BULK, -lag_s), (BULK, SCALE, 1.0), (SCALE, BULK, 1.0),
        (DEPART, SCALE, -1.0), (SCALE, DEPART, -1.0),
    ):  # fmt: skip
        bank.cov[:, a, b] += by * tied


def branch(
    bank: Bank,
    t_s: float,
    regimes: tuple[Regime, ...],
    share_of_weight: float,
    *,
    law: Bank | None = None,
    room: tuple[float, float] | None = None,
) -> Bank:
    """New regimes beginning now, where the likeliest hypothesis has the probe.

    Args:
        bank: The bank so far, at ``t_s``.
        t_s: Now [s].
        regimes: The ways in which it may begin.
        share_of_weight: Prior probability that a regime began now.
        law: One hypothesis whose cooling law the new regimes start from; ``None``: the
            likeliest of the bank.
        room: The shop's temperature and its standard deviation [°C], for a part that was being
            heated by something hotter; ``None`` keeps the surroundings.

    Returns:
        The new hypotheses only, weighted against the whole of ``bank``.
    """
    best = bank.take(np.array([int(np.argmax(bank.log_weight))]))
    if law is None and _disturbed(best):
        return weighed(_loss_changed(best, t_s), bank, share_of_weight)
    new = regimes_from(bank, best, t_s, regimes, law=law, room=room)
    return weighed(new, bank, share_of_weight)


def regimes_from(
    bank: Bank,
    best: Bank,
    t_s: float,
    regimes: tuple[Regime, ...],
    *,
    law: Bank | None = None,
    room: tuple[float, float] | None = None,
    part_c: float | None = None,
) -> Bank:
    """The regimes beginning where ``best`` has the probe, weighed among themselves.

    ``part_c``: where the part is, when the probe tells nothing of it.
    """
    probe_c = float(best.mean[0, BULK] + best.mean[0, DEPART]) if part_c is None else part_c
    probe_var = float(best.predicted()[1][0])
    k = len(regimes)
    around_c, around_var = float(best.mean[0, AROUND]), float(best.cov[0, AROUND, AROUND])
    if room is not None and around_c > probe_c:
        around_c, around_var = room[0], room[1] ** 2
    mean, cov = np.zeros((k, SIZE)), np.zeros((k, SIZE, SIZE))
    mean[:, BULK] = probe_c
    cov[:, BULK, BULK] = max(probe_var, 1e-3)
    if law is None:
        law, rate_k_s = best, -float(best.rates()[0][0])
    else:
        law = law.take(np.array([0]))
        law.mean[0, BULK], law.mean[0, DEPART] = probe_c, 0.0
        rate_k_s = -float(law.rates()[0][0])
    mean[:, SCALE] = rate_k_s * np.array([r.scale[0] for r in regimes])
    wide = np.array([r.scale[1] for r in regimes])
    spread = np.maximum(wide * abs(rate_k_s), _LEAST_K_S)
    # A part that hardly moved (soaking, under a cover) may begin to cool as a bare one does.
    bare_k_s = usual_rate_k_s(bank.metal, None, None, probe_c, around_c)[0]
    spread = np.hypot(spread, np.where(wide >= _FREE_FROM, _FREE_SHARE * bare_k_s, 0.0))
    cov[:, SCALE, SCALE] = spread**2
    added = np.array([r.share_sd for r in regimes]) ** 2
    cov[:, SHARE, SHARE] = np.minimum(law.cov[0, SHARE, SHARE] + added, _SHARE_SD_MOST**2)
    mean[:, AROUND] = around_c
    cov[:, AROUND, AROUND] = around_var
    ref_c = _reference(probe_c, around_c)
    mean[:, SHARE] = _share_at(
        float(law.mean[0, SHARE]), float(law.reference_c[0]), float(law.mean[0, AROUND]), ref_c
    )
    own = [(i, r.share) for i, r in enumerate(regimes) if r.share is not None]
    for place, share in own:
        mean[place, SHARE] = share
    new = _empty_like(mean, cov, t_s, regimes, metal=bank.metal, ref_c=ref_c)
    _spread_departure(new, regimes, max(abs(probe_c - around_c), 10.0))
    if around_c < probe_c:
        least = max(_LEAST_LOSS * rate_k_s, float(best.least_k_s[0]))
        takes_up = np.array([r.tau_s >= 60 and r.depart[0] > 0 for r in regimes])
        new.least_k_s = np.where(takes_up, least, -np.inf)
    return new


def weighed(new: Bank, bank: Bank, share_of_weight: float) -> Bank:
    """``new``, whose weights sum to one, weighed against the whole of ``bank``."""
    top = float(bank.log_weight.max())
    whole = top + float(np.log(np.exp(bank.log_weight - top).sum()))
    odds = share_of_weight / (1.0 - share_of_weight)
    new.log_weight = new.log_weight + whole + np.log(odds)
    return new


def _disturbed(best: Bank) -> bool:
    """The probe is on its way to the part (cold when clamped on): its rate is not the part's."""
    depart, bulk = float(best.mean[0, DEPART]), float(best.mean[0, BULK])
    height = max(abs(bulk - float(best.mean[0, AROUND])), 25.0)
    slow_k_s = abs(float(best.rates()[0][0]) + depart / float(best.tau_s[0]))
    return abs(depart) > _DISTURBED * height and abs(depart) / best.tau_s[0] > slow_k_s


def _loss_changed(best: Bank, t_s: float) -> Bank:
    """The same disturbed probe on a part whose loss changes: what it heads for is kept."""
    new = best.take(np.zeros(2, dtype=int))
    scale = np.abs(new.mean[:, SCALE])
    new.cov[:, SCALE, SCALE] += np.maximum(np.array([0.3, 0.8]) * scale, _LEAST_K_S) ** 2
    new.born_s[:] = t_s
    new.changed[:] = True
    new.log_weight = np.log(np.array([0.5, 0.5]))
    return new


def branch_heating(bank: Bank, t_s: float, share_of_weight: float) -> Bank:
    """New regimes in which hotter surroundings heat the part: an oven, of unknown heat."""
    best = bank.take(np.array([int(np.argmax(bank.log_weight))]))
    new = weighed(regimes_from(bank, best, t_s, HEATING), bank, share_of_weight)
    probe_c = new.mean[:, BULK] + new.mean[:, DEPART]
    # Whatever the part is now, an oven is set for preheat or stress relief: 300 to 650 °C.
    oven_c = np.maximum(probe_c + np.array([100.0, 150.0, 250.0]), np.array([0.0, 400.0, 550.0]))
    new.mean[:, AROUND] = oven_c
    new.cov[:, AROUND, AROUND] = np.array([50.0, 125.0, 125.0]) ** 2
    new.reference_c = probe_c
    new.mean[:, SHARE] = 0.3  # a fan stirs the air of an oven
    new.cov[:, SHARE, SHARE] = 0.3**2
    return new


def calm_law(bank: Bank, t_s: float) -> Bank | None:
    """The likeliest hypothesis, if it is that of a part cooling by itself, undisturbed."""
    best = bank.take(np.array([int(np.argmax(bank.log_weight))]))
    if t_s - best.born_s[0] < _CALM_S:
        return None
    cooling = best.mean[0, SCALE] > 0 and best.mean[0, BULK] > best.mean[0, AROUND]
    return best if cooling and best.rates()[0][0] < 0 and not _disturbed(best) else None


def settled_law(bank: Bank, t_s: float) -> Bank | None:
    """The likeliest hypothesis, if its regime has lasted and its cooling law is known."""
    best = int(np.argmax(bank.log_weight))
    scale = float(bank.mean[best, SCALE])
    known = scale > 0 and bank.cov[best, SCALE, SCALE] < (0.15 * scale) ** 2
    if not known or t_s - bank.born_s[best] < _LASTED_S or bank.weights()[best] < 0.2:
        return None
    return bank.take(np.array([best]))
