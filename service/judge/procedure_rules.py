"""What is possible with procedures, and what it does; as in ``shop_rules.py``."""

from __future__ import annotations

from service.judge.events import Refused, Stamp
from service.judge.limits import Limits
from service.judge.procedure_actions import TakeBackTick, TickStep, UseProcedure, WriteProcedure
from service.judge.shop import Heat, Part, ProcedureVersion, Shop, Tick


def check_write(shop: Shop, action: WriteProcedure) -> None:
    """Refuse a version that another was written before, a number out of turn, a name twice."""
    versions, number = shop.procedures.get(action.procedure_id), action.procedure_id
    if versions is None:
        if action.after_version > 0:
            raise Refused(f"There is no procedure {number}.")
        if number < shop.next_procedure_id:
            raise Refused(f"Procedure number {number} cannot be given to a new procedure.")
    elif action.after_version != len(versions):
        raise Refused(
            f"{versions[-1].name} has a version {len(versions)} by now, and this was written "
            f"after version {action.after_version}: read that one first."
        )
    name = action.facts.name.casefold()
    for other, known in shop.procedures.items():
        if other != number and known[-1].name.casefold() == name:
            raise Refused(f"Another procedure is called {known[-1].name} already.")


def apply_write(shop: Shop, _stamp: Stamp, action: WriteProcedure) -> int:
    """A version more; those before stay as they are."""
    facts, number = action.facts, action.procedure_id
    version = ProcedureVersion(
        facts.name, facts.limits.model_dump(), list(facts.steps), list(facts.cautions)
    )
    shop.procedures[number] = [*shop.procedures.get(number, []), version]
    shop.next_procedure_id = max(shop.next_procedure_id, number + 1)
    return number


def check_use(shop: Shop, action: UseProcedure) -> None:
    """Refuse what is not there, and a part in a heat."""
    part = shop.part(action.part_id)
    if shop.heat_of(part.id) is not None:
        raise Refused(
            f"{part.name} is in a heat, which keeps the procedure that it began with: end the "
            "heat first, or set a limit for this part alone."
        )
    if action.procedure_id is not None and action.version is not None:
        version = version_of(shop, action.procedure_id, action.version)
        if action.limits is not None and action.limits.model_dump() != version.limits:
            raise Refused(
                f"Those are not the limits of {version.name}, version {action.version}: use the "
                "procedure without limits, and set the part's own afterwards."
            )


def with_limits(action: UseProcedure, shop: Shop) -> UseProcedure:
    """The action with the limits that it sets; one that must be refused stays as it is."""
    versions = shop.procedures.get(action.procedure_id or 0, [])
    version = action.version or 0
    if action.limits is not None or not 1 <= version <= len(versions):
        return action
    limits = Limits.model_validate(versions[version - 1].limits)
    return action.model_copy(update={"limits": limits})


def apply_use(shop: Shop, _stamp: Stamp, action: UseProcedure) -> int:
    """The part's limits are the version's from now on; without one they stay."""
    part = shop.part(action.part_id)
    part.procedure_id, part.procedure_version = action.procedure_id, action.version
    if action.procedure_id is not None and action.version is not None:
        limits = version_of(shop, action.procedure_id, action.version).limits
        for name, value in limits.items():
            setattr(part, name, value)
    return 0


def version_of(shop: Shop, procedure_id: int, version: int) -> ProcedureVersion:
    """A version of a procedure, or ``Refused``."""
    versions = shop.procedures.get(procedure_id)
    if versions is None:
        raise Refused(f"There is no procedure {procedure_id}.")
    if version > len(versions):
        raise Refused(
            f"{versions[-1].name} has no version {version}: the newest is {len(versions)}."
        )
    return versions[version - 1]


def has_own_limits(shop: Shop, part: Part) -> bool:
    """Whether a part that goes by a procedure has limits that are not that version's."""
    if part.procedure_id is None or part.procedure_version is None:
        return False
    wanted = version_of(shop, part.procedure_id, part.procedure_version).limits
    return any(getattr(part, name) != wanted[name] for name in Limits.model_fields)


def steps_of(shop: Shop, heat: Heat) -> list[str]:
    """The steps of the version that a heat began with; empty without one."""
    if heat.procedure_id is None or heat.procedure_version is None:
        return []
    return version_of(shop, heat.procedure_id, heat.procedure_version).steps


def check_tick(shop: Shop, action: TickStep) -> None:
    """Refuse a step that is not there, or is ticked."""
    heat = _with_step(shop, action)
    if action.number in heat.ticks:
        raise Refused(f"Step {action.number} is ticked already.")


def apply_tick(shop: Shop, stamp: Stamp, action: TickStep) -> int:
    """Done, at this moment, by whom."""
    heat = shop.open_heat(action.heat_id)
    heat.ticks[action.number] = Tick(stamp.utc_us, action.by)
    return 0


def check_take_back(shop: Shop, action: TakeBackTick) -> None:
    """Refuse a step that is not there, or is not ticked."""
    heat = _with_step(shop, action)
    if action.number not in heat.ticks:
        raise Refused(f"Step {action.number} is not ticked: nothing can be taken back.")


def apply_take_back(shop: Shop, _stamp: Stamp, action: TakeBackTick) -> int:
    """Not done after all."""
    del shop.open_heat(action.heat_id).ticks[action.number]
    return 0


def _with_step(shop: Shop, action: TickStep | TakeBackTick) -> Heat:
    heat = shop.open_heat(action.heat_id)
    steps = steps_of(shop, heat)
    if not steps:
        raise Refused(f"Heat {heat.id} began without a procedure that has steps.")
    if action.number > len(steps):
        raise Refused(f"There is no step {action.number}: the procedure has {len(steps)}.")
    return heat
