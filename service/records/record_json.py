"""The record of a heat as the pages are told it: plain JSON, times as RFC 3339 UTC."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from service.judge.utc import utc_text
from service.records import print_words as words
from service.records.heat_record import Figures, HeatRecord, PassRecord
from service.records.held_procedure import held_json
from service.records.outcomes import outcome_json, photo_json, work_json
from service.records.traces import lettered


def record_json(record: HeatRecord) -> dict[str, Any]:
    """One heat (``HeatRecord`` in openapi.json); what is not known is ``None``."""
    figures = record.figures
    letters = lettered(record)
    return {
        "heat_id": record.heat_id,
        "part_id": record.part_id,
        "part": record.facts.name,
        "metal": record.facts.metal,
        "began_at": utc_text(record.begun_us),
        "ended_at": _time(record.ended_us),
        "arc_s": _seconds(record.arc_us),
        "limits": words.limits_lines(record),
        "procedure": held_json(record.procedure),
        "soak": words.soak_text(figures.soak),
        "below_preheat_s": figures.below_preheat_s,
        "unread_s": figures.unread_s,
        "last_arc_to_cover_s": figures.last_arc_to_cover_s,
        **_fastest(figures),
        "phases": [
            {
                "phase": each.phase,
                "from": utc_text(each.from_us),
                "to": utc_text(each.to_us),
                "origin": each.origin,
            }
            for each in record.phases
        ],
        "passes": [_pass(each) for each in record.passes],
        "purges": [
            {
                "began_at": utc_text(each.begun_us),
                "ended_at": _time(each.ended_us),
                "argon_l": each.argon_l,
            }
            for each in record.purges
        ],
        "alarms": [
            {"kind": each.kind, "at": utc_text(each.raised_us), "text": each.text}
            for each in record.alarms
        ],
        "notes": [
            {"at": utc_text(each.at_us), "by": each.by, "text": each.text} for each in record.notes
        ],
        "gaps": [
            {
                "channel": each.channel,
                "from": utc_text(each.from_us),
                "to": utc_text(each.to_us),
                "why": each.why,
            }
            for each in record.gaps
        ],
        "deviations": [{"at": _time(each.at_us), "text": each.text} for each in record.deviations],
        "sensors": [
            {
                "letter": letters.get(each.name),
                "name": each.name,
                "kind": each.kind,
                "place": words.place_text(each),
                "readings": each.readings,
                "doubted": each.suspect + each.bad,
            }
            for each in record.channels
        ],
        "outcomes": [outcome_json(each) for each in record.outcomes],
        "photos": [photo_json(each) for each in record.photos],
        "work": work_json(record.work),
        "cautions": list(words.CAUTIONS),
    }


def _fastest(figures: Figures) -> dict[str, Any]:
    """Rates by channel, phase and band, and the greatest difference in each phase."""
    return {
        "rates": [asdict(each) for each in figures.rates],
        "gradients": [
            {
                "phase": each.phase,
                "at": utc_text(each.at_us),
                "difference_k": each.difference_k,
                "coldest": each.coldest,
                "hottest": each.hottest,
            }
            for each in figures.gradients
        ],
    }


def _pass(each: PassRecord) -> dict[str, Any]:
    return {
        "number": each.number,
        "began_at": utc_text(each.begun_us),
        "ended_at": _time(each.ended_us),
        "arc_s": _seconds(each.arc_us),
        "coldest_c": each.coldest_c,
        "hottest_c": each.hottest_c,
        "oxygen_ppm": each.oxygen_ppm,
        "verdict": each.verdict,
    }


def _time(t_us: int | None) -> str | None:
    return None if t_us is None else utc_text(t_us)


def _seconds(us: int | None) -> float | None:
    return None if us is None else round(us / 1e6, 1)
