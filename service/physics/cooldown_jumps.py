"""What a reading means that nothing expected: the probe was disturbed, or only shifted."""

from __future__ import annotations

import numpy as np

from service.physics.cooldown_bank import BULK, DEPART, Bank
from service.physics.cooldown_kinds import JUMPED
from service.physics.cooldown_regimes import regimes_from, weighed

_SHIFT_SD_K = 5.0


def shifted(bank: Bank, share_of_weight: float) -> Bank:
    """The likeliest hypothesis with its reading shifted by a few kelvin, all else unchanged."""
    new = bank.take(np.array([int(np.argmax(bank.log_weight))]))
    new.cov[:, BULK, BULK] += _SHIFT_SD_K**2
    new.log_weight = new.log_weight + np.log(share_of_weight)
    return new


def branch_jump(
    bank: Bank,
    t_s: float,
    reading_c: float,
    share_of_weight: float,
    *,
    room: tuple[float, float],
    before: Bank | None = None,
    after_gap: bool = False,
) -> Bank:
    """The probe reads something else: warming up to the part, slipped, or on another place.

    Args:
        bank: The bank so far, at ``t_s``.
        t_s: Now [s].
        reading_c: What the probe reads [°C].
        share_of_weight: Prior probability that it is so.
        room: The shop's temperature and its standard deviation [°C].
        before: One hypothesis of before the disturbance, carried on to ``t_s``: how the part
            cools; ``None``: as the likeliest of the bank has it.
        after_gap: Much may have happened in the meantime: where the part is, all hypotheses of
            the bank say together, not only that one.
    """
    source = bank if before is None or after_gap else before
    weights = source.weights()
    bulk_c = float(weights @ source.mean[:, BULK])
    spread = source.cov[:, BULK, BULK] + (source.mean[:, BULK] - bulk_c) ** 2
    bulk_var = float(weights @ spread) + 9.0
    law = bank if before is None else before
    law = law.take(np.array([int(np.argmax(law.log_weight))]))
    new = regimes_from(bank, law, t_s, JUMPED, law=law, room=room, part_c=bulk_c)
    new = weighed(new, bank, share_of_weight)
    departing = np.array([r.tau_s > 0 for r in JUMPED])
    off = np.array([r.off for r in JUMPED])
    towards_c = np.where(off, room[0], bulk_c)
    towards_var = np.where(off, room[1] ** 2, bulk_var)
    new.mean[:, BULK] = np.where(departing, towards_c, reading_c)
    new.mean[:, DEPART] = np.where(departing, reading_c - towards_c, 0.0)
    new.cov[:, BULK, DEPART] = new.cov[:, DEPART, BULK] = np.where(departing, -towards_var, 0.0)
    new.cov[:, BULK, BULK] = np.where(departing, towards_var, 4.0)
    new.cov[:, DEPART, DEPART] = np.where(departing, towards_var + 4.0, 0.0)
    return new
