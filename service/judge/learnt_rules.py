"""What past heats taught: which sayings of it are possible, and what they do to a part."""

from __future__ import annotations

from service.judge.events import Refused, Stamp
from service.judge.learnt_actions import ForgetLearnt, LearntTold
from service.judge.shop import Part, Shop
from service.physics.cooldown import PastLaw
from service.readings import Spread


def check_forget(shop: Shop, action: ForgetLearnt) -> None:
    """Refuse an unknown part, and taking back what nobody has set aside."""
    part = shop.part(action.part_id)
    if action.take_back and action.quantity not in part.forgotten:
        what = action.quantity or "everything"
        raise Refused(f"Nobody has set aside {what} of {part.name}: nothing can be taken back.")


def apply_forget(shop: Shop, _stamp: Stamp, action: ForgetLearnt) -> int:
    """From now on the part's next heat starts without it, until something is told anew."""
    part = shop.part(action.part_id)
    if action.take_back:
        last = len(part.forgotten) - 1 - part.forgotten[::-1].index(action.quantity)
        del part.forgotten[last]
        return 0
    part.forgotten.append(action.quantity)
    if action.quantity in (None, "loss bare"):
        part.past = None
    if action.quantity in (None, "cavity volume"):
        part.learnt_volume_l = None
    return 0


def check_told(shop: Shop, action: LearntTold) -> None:
    """Refuse an unknown part."""
    shop.part(action.part_id)


def apply_told(shop: Shop, _stamp: Stamp, action: LearntTold) -> int:
    """For the part's next heat; a heat that is open goes on with what it began with."""
    part = shop.part(action.part_id)
    part.past = past_law(action)
    volume = action.volume_l
    if volume is not None:
        part.learnt_volume_l = Spread(volume.p05, volume.p50, volume.p95)
    return 0


def past_law(action: LearntTold) -> PastLaw | None:
    """The law as the cooldown model takes it."""
    loss = action.loss
    if loss is None:
        return None
    return PastLaw(loss.rate_k_s, loss.at_c, loss.radiative_share, 20.0, loss.low_c, loss.high_c)


def as_told(part: Part, action: LearntTold) -> bool:
    """Whether the judge knows this already."""
    volume, known = action.volume_l, part.learnt_volume_l
    if part.past != past_law(action):
        return False
    return volume is None or (
        known is not None
        and (known.p05, known.p50, known.p95) == (volume.p05, volume.p50, volume.p95)
    )
