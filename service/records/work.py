"""What heats took: hours, arc minutes, litres of argon, oven time; one by one and by part."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from service.records.outcome_record import ArcBasis, TorchBasis, Work


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of a heat [µs]."""

    from_us: int
    to_us: int

    @property
    def s(self) -> float:
        """How long it is [s]."""
        return max(self.to_us - self.from_us, 0) / 1e6


@dataclass(frozen=True, slots=True)
class PassSpell:
    """A pass that has ended.

    Attributes:
        arc_us: How long the arc burnt by its channel [µs]; ``None``: none was watching.
        torch_l: What a meter counted in it [l]; ``None``: no meter, or not throughout.
        torch_l_min: What the torch was set to then [l/min]; ``None``: nobody has said.
    """

    spell: Spell
    arc_us: int | None
    torch_l: float | None
    torch_l_min: float | None

    @property
    def arc_s(self) -> float:
        """How long the arc burnt [s]."""
        return self.spell.s if self.arc_us is None else self.arc_us / 1e6


def work_of(
    whole: Spell,
    ovens: Iterable[Spell],
    passes: Sequence[PassSpell],
    purges_l: Sequence[float | None],
    torch_metered: bool,
) -> Work:
    """What one heat took.

    Args:
        whole: From its begin to its end.
        ovens: When it was in the oven.
        passes: Those that have ended.
        purges_l: What each purge took [l]; ``None``: not metered throughout.
        torch_metered: The shop has a meter on the torch.
    """
    torch_l, torch_by = _torch(passes, torch_metered)
    return Work(
        total_s=whole.s,
        oven_s=sum(each.s for each in ovens),
        arc_s=sum(each.arc_s for each in passes),
        arc_by=_arc_basis(passes),
        purge_l=_sum(purges_l),
        torch_l=torch_l,
        torch_by=torch_by,
    )


def _arc_basis(passes: Sequence[PassSpell]) -> ArcBasis | None:
    watched = {each.arc_us is not None for each in passes}
    if len(watched) == 2:
        return "arc channel and taps"
    return None if not watched else "arc channel" if watched == {True} else "taps"


def _torch(passes: Sequence[PassSpell], metered: bool) -> tuple[float | None, TorchBasis | None]:
    if not passes:
        return 0.0, None
    if metered:
        litres = _sum([each.torch_l for each in passes])
        return litres, None if litres is None else "meter"
    by_setting = [
        None if each.torch_l_min is None else each.torch_l_min * each.arc_s / 60 for each in passes
    ]
    litres = _sum(by_setting)
    return litres, None if litres is None else "setting"


def _sum(litres: Sequence[float | None]) -> float | None:
    """The sum, if every one of them is known."""
    known = [each for each in litres if each is not None]
    return sum(known) if len(known) == len(litres) else None


def total(works: Sequence[Work]) -> Work:
    """Of several heats together; argon is only told where it is known of each."""
    bases = {each.arc_by for each in works} - {None}
    mixed: ArcBasis | None = "arc channel and taps" if bases else None
    torch = {each.torch_by for each in works} - {None}
    return Work(
        total_s=sum(each.total_s for each in works),
        oven_s=sum(each.oven_s for each in works),
        arc_s=sum(each.arc_s for each in works),
        arc_by=bases.pop() if len(bases) == 1 else mixed,
        purge_l=_sum([each.purge_l for each in works]),
        torch_l=_sum([each.torch_l for each in works]),
        torch_by=torch.pop() if len(torch) == 1 else None,
    )
