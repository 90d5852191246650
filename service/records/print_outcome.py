"""The sections of a printed record on what came of the heat and what it took."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from service.records.colour_scale import SAMPLE_PPM
from service.records.heat_record import HeatRecord
from service.records.local_time import clock_text
from service.records.outcome_record import OutcomeRecord, Work
from service.records.print_words import duration_text

CRACKED = {
    "none seen": "no crack seen",
    "seen cold": "crack seen when cold",
    "seen by dye": "crack seen by dye",
    "seen in service": "crack seen in service",
}
PENETRATION = {
    "all round": "root through all round",
    "in places": "root through in places only",
    "none": "root not through",
    "too much": "too much root inside",
}
NOT_SAID = "Nobody has said what came of it."
TAKEN_BACK = "taken back: nothing is said any more"


def said_text(said: OutcomeRecord) -> str:
    """One saying in a line; it says what was seen and no more."""
    if not said.says_something:
        return TAKEN_BACK
    words = [
        CRACKED[said.cracked] if said.cracked else "",
        f"root inside {said.root}" if said.root else "",
        PENETRATION[said.penetration] if said.penetration else "",
        colour_text(said.oxygen_colour) if said.oxygen_colour else "",
        *(_dimension_text(each.name, each.before_mm, each.after_mm) for each in said.dimensions),
        said.text or "",
    ]
    return "; ".join(each for each in words if each)


def colour_text(step: int) -> str:
    """A step of the scale with the oxygen that its sample was welded under."""
    return (
        f"colour step {step} of 10 (AWS D18.2: sample at {SAMPLE_PPM[step - 1]:,} ppm oxygen; "
        "a guide, no measurement)"
    )


def _dimension_text(name: str, before_mm: float | None, after_mm: float | None) -> str:
    told = [
        f"{when} {value:g} mm"
        for when, value in (("before", before_mm), ("after", after_mm))
        if value is not None
    ]
    if before_mm is not None and after_mm is not None:
        told.append(f"change {after_mm - before_mm:+.3g} mm")
    return f"{name} {', '.join(told)}"


def outcome_rows(record: HeatRecord, zone: ZoneInfo | None) -> list[list[str]]:
    """Every saying, the newest first, which holds."""
    rows = [["said", "by", "what was seen", ""]]
    for place, each in enumerate(reversed(record.outcomes)):
        holds = "holds" if place == 0 else "earlier"
        rows.append([clock_text(each.at_us, zone), each.by or "–", said_text(each), holds])
    return rows


def photo_rows(record: HeatRecord, zone: ZoneInfo | None) -> list[list[str]]:
    """The photos that are kept, which no paper shows as well as the file."""
    rows = [["photo of", "added", "caption", "file, SHA-256"]]
    rows += [
        [each.of, clock_text(each.added_us, zone), each.caption or "–", each.sha256]
        for each in record.photos
    ]
    return rows


def work_line(work: Work | None) -> str:
    """What the heat took, in one sentence."""
    if work is None:
        return "What it took was not worked out."
    by = f" (by {work.arc_by})" if work.arc_by else ""
    torch = "not known" if work.torch_l is None else f"{work.torch_l:.0f} l"
    if work.torch_by == "setting":
        torch += " by the torch's setting"
    purge = "not metered throughout" if work.purge_l is None else f"{work.purge_l:.0f} l"
    return (
        f"In all {duration_text(work.total_s)}, of these in the oven "
        f"{duration_text(work.oven_s)}; arc {duration_text(work.arc_s)}{by}; argon for the purge "
        f"{purge}, for the torch while it burnt {torch}."
    )
