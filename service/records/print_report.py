"""The printed record of a heat: a PDF of tables and one chart, all of it text and vectors.

Every text that came from outside (names, notes, reasons) is drawn as characters and never read as
markup. A character that the built-in font lacks is printed as its code, never left out.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape
from zoneinfo import ZoneInfo

from reportlab.lib import pagesizes
from reportlab.lib.colors import Color, black
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table

from service.records import print_outcome as outcome
from service.records import print_words as words
from service.records.heat_record import HeatRecord
from service.records.local_time import clock_text, local, offset_text
from service.records.print_chart import FONT, chart
from service.records.traces import LETTERS, Traces

PAPERS = {"A4": pagesizes.A4, "Letter": pagesizes.LETTER}
MARGIN = 36.0
FRAME_PADDING = 6.0
"""The page frame's own."""
BOLD = "VeraBd"

PLAIN = ParagraphStyle("plain", fontName=FONT, fontSize=7.5, leading=10)
CELL = ParagraphStyle("cell", parent=PLAIN, fontSize=7, leading=8.8)
HEADING = ParagraphStyle(
    "heading", parent=PLAIN, fontName=BOLD, fontSize=9, leading=12, spaceBefore=8, spaceAfter=3
)
TITLE = ParagraphStyle("title", parent=PLAIN, fontName=BOLD, fontSize=14, leading=18)

ADVICE = "It records and advises; it never says that a weld is sound."


@dataclass(frozen=True, slots=True)
class Printing:
    """How a record is to be printed.

    Attributes:
        paper: A key of ``PAPERS``.
        zone: For local times; ``None``: this machine's.
        operator: Who welded, as given for this print; ``None``: a line to sign on.
        made_us: When it is printed [µs UTC].
    """

    paper: str
    zone: ZoneInfo | None
    operator: str | None
    made_us: int


def print_record(record: HeatRecord, traces: Traces, how: Printing) -> bytes:
    """The PDF; the same bytes for the same arguments."""
    register_fonts()
    total = _build(record, traces, how, None)[1]
    return _build(record, traces, how, total)[0]


def register_fonts() -> None:
    if FONT not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(FONT, "Vera.ttf"))
        pdfmetrics.registerFont(TTFont(BOLD, "VeraBd.ttf"))


def printable(text: str) -> str:
    """The text with what the font lacks, and control characters, as codes."""
    glyphs = pdfmetrics.getFont(FONT).face.charToGlyph
    return "".join(
        each if ord(each) in glyphs and each.isprintable() else f"[U+{ord(each):04X}]"
        for each in text
    )


def _para(text: str, style: ParagraphStyle = PLAIN) -> Any:
    return Paragraph(escape(printable(text)), style)


def _build(
    record: HeatRecord, traces: Traces, how: Printing, total: int | None
) -> tuple[bytes, int]:
    out = io.BytesIO()
    size = PAPERS[how.paper]
    document = SimpleDocTemplate(
        out,
        pagesize=size,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN + 12,
        title=printable(f"Thermal record, heat {record.heat_id}, {record.facts.name}"),
        author="heatwindow",
        invariant=True,
    )
    width = size[0] - 2 * MARGIN - 2 * FRAME_PADDING
    foot = _foot(record, how, total)
    document.build(_story(record, traces, how, width), onFirstPage=foot, onLaterPages=foot)
    return out.getvalue(), document.page


def _foot(record: HeatRecord, how: Printing, total: int | None) -> Callable[[Any, Any], None]:
    def draw(canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFont(FONT, 6.5)
        name = printable(record.facts.name)
        text = f"Heat {record.heat_id}, {name}; printed {clock_text(how.made_us, how.zone)}"
        canvas.drawString(MARGIN + FRAME_PADDING, MARGIN - 4, text[:110])
        canvas.drawString(MARGIN + FRAME_PADDING, MARGIN - 13, ADVICE)
        of = "" if total is None else f" of {total}"
        canvas.drawRightString(
            document.pagesize[0] - MARGIN - FRAME_PADDING,
            MARGIN - 4,
            f"page {canvas.getPageNumber()}{of}",
        )
        canvas.restoreState()

    return draw


def _story(record: HeatRecord, traces: Traces, how: Printing, width: float) -> list[Any]:
    return [
        _para(f"Thermal record of heat {record.heat_id}", TITLE),
        _para(f"Part {record.part_id}: {record.facts.name}", HEADING),
        *_head(record, how, width),
        Spacer(1, 6),
        chart(record, traces, width, 300),
        *_legend(traces),
        *_passes(record, how, width),
        *_alarms(record, how, width),
        *_rates(record, width),
        *_purges(record, how, width),
        *_sensors(record, traces, how, width),
        *_gaps(record, how, width),
        *_outcome(record, how, width),
        *_notes(record, how, width),
        *_deviations(record, how, width),
        KeepTogether(
            [_para("Cautions", HEADING), *(_para(f"– {each}") for each in words.CAUTIONS)]
        ),
        *_signature(how),
    ]


def _head(record: HeatRecord, how: Printing, width: float) -> list[Any]:
    facts = record.facts
    said = [
        ("metal", facts.metal),
        ("mass", _with_unit(facts.mass_kg, "kg")),
        ("wall at the joint", _with_unit(facts.joint_wall_mm, "mm")),
        ("cavity", _with_unit(facts.cavity_volume_l, "l")),
    ]
    rows = [
        ["begun", clock_text(record.begun_us, how.zone)],
        ["ended", clock_text(record.ended_us, how.zone) if record.ended_us else "still open"],
        ["part and joint", ", ".join(f"{name} {value}" for name, value in said)],
        ["procedure", "none" if record.procedure is None else record.procedure.named],
        ["procedure limits", "; ".join(words.limits_lines(record)) or "none set"],
        ["operator", how.operator or "not given"],
        ["recorded by", f"heatwindow {', '.join(record.versions) or 'of an unknown version'}"],
    ]
    return [_table(rows, [0.18, 0.82], width, heading=False)]


def _with_unit(value: float | None, unit: str) -> str:
    return "not known" if value is None else f"{value:g} {unit}"


def _legend(traces: Traces) -> list[Any]:
    letters = iter(LETTERS)
    said = [f"{next(letters)} {of.name}" for of, _ in traces.all]
    text = "Lines: " + ("; ".join(said) if said else "no channel was on the part")
    more = "Shaded: arc on, with the number of the pass. !n: alarm n. A line breaks where there "
    return [_para(f"{text}. {more}are no good readings.", CELL)]


def _passes(record: HeatRecord, how: Printing, width: float) -> list[Any]:
    rows = [
        ["pass", "run time", "begun", "lasted", "coldest °C", "hottest °C", "O2 ppm", "verdict"]
    ]
    for each in record.passes:
        lasted = None if each.ended_us is None else (each.ended_us - each.begun_us) / 1e6
        oxygen = (
            "not measured"
            if each.oxygen_ppm is None
            else f"{each.oxygen_ppm:.0f}, at most {words.number_text(each.oxygen_high_ppm)}"
        )
        rows.append(
            [
                str(each.number),
                words.run_text(record, each.begun_us),
                clock_text(each.begun_us, how.zone),
                words.duration_text(lasted),
                words.number_text(each.coldest_c),
                words.number_text(each.hottest_c),
                oxygen,
                each.verdict or "–",
            ]
        )
    found = record.figures
    lines = [
        f"Between the first arc and the last, below preheat for "
        f"{words.duration_text(found.below_preheat_s)}, unreadable for "
        f"{words.duration_text(found.unread_s)}. Last arc to cover: "
        f"{words.duration_text(found.last_arc_to_cover_s)}.",
        words.soak_text(found.soak),
    ]
    return _section(
        "Passes",
        [rows, [0.06, 0.09, 0.24, 0.12, 0.1, 0.1, 0.18, 0.11]],
        "No pass is recorded.",
        width,
        lines,
    )


def _alarms(record: HeatRecord, how: Printing, width: float) -> list[Any]:
    rows = [["", "raised", "acknowledged", "returned", "what"]]
    for place, each in enumerate(record.alarms, 1):
        rows.append(
            [
                f"!{place}",
                clock_text(each.raised_us, how.zone),
                _clock(each.acknowledged_us, how.zone),
                _clock(each.returned_us, how.zone),
                f"{each.kind}: {each.text}",
            ]
        )
    return _section("Alarms", [rows, [0.05, 0.24, 0.15, 0.15, 0.41]], "No alarm was raised.", width)


def _clock(t_us: int | None, zone: ZoneInfo | None) -> str:
    """Time of day; with the offset, which alone tells the two hours of an autumn night apart."""
    if t_us is None:
        return "not"
    moment = local(t_us, zone)
    return f"{moment:%H:%M:%S} {offset_text(moment)}"


def _rates(record: HeatRecord, width: float) -> list[Any]:
    rows = [
        ["channel", "phase", "band °C", "min", "mean °C/h", "fastest up", "fastest down", "over"]
    ]
    for each in record.figures.rates:
        rows.append(
            [
                each.channel,
                each.phase,
                f"{each.low_c:g} to {each.high_c:g}",
                f"{each.minutes:.1f}",
                f"{each.mean_c_per_h:+.0f}",
                words.number_text(each.fastest_up_c_per_h, "+.0f"),
                words.number_text(each.fastest_down_c_per_h, "+.0f"),
                f"{each.span_s / 60:g} min",
            ]
        )
    lines = [
        f"Greatest difference, {each.phase}: {each.difference_k:.0f} K at run time "
        f"{words.run_text(record, each.at_us)}, {each.hottest} over {each.coldest}."
        for each in record.figures.gradients
    ]
    return _section(
        "Heating and cooling rates, gradients",
        [rows, [0.22, 0.12, 0.15, 0.08, 0.12, 0.12, 0.12, 0.07]],
        "No rate could be worked out.",
        width,
        lines,
    )


def _purges(record: HeatRecord, how: Printing, width: float) -> list[Any]:
    rows = [["gas on", "gas off", "argon, metered"]]
    for each in record.purges:
        metered = "not metered throughout" if each.argon_l is None else f"{each.argon_l:.0f} l"
        rows.append([clock_text(each.begun_us, how.zone), _clock(each.ended_us, how.zone), metered])
    return _section("Purge", [rows, [0.3, 0.3, 0.4]], "No purge is recorded.", width)


def _sensors(record: HeatRecord, traces: Traces, how: Printing, width: float) -> list[Any]:
    letters = dict(zip((of.name for of, _ in traces.all), LETTERS, strict=False))
    rows = [["", "channel", "measures", "where", "calibration", "readings", "bad"]]
    for each in sorted(record.channels, key=lambda one: letters.get(one.name, "Z")):
        last = each.calibrations[-1] if each.calibrations else None
        day = f"{local(last.from_us, how.zone):%Y-%m-%d}" if last else ""
        due = f"{local(last.due_us, how.zone):%Y-%m-%d}" if last and last.due_us else None
        kind = each.kind or "not said"
        if each.thermocouple is not None:
            kind = f"{kind} type {each.thermocouple}, terminals {each.cold_junction}"
        rows.append(
            [
                letters.get(each.name, ""),
                each.name,
                kind,
                words.place_text(each),
                words.sensor_text(each, day, due),
                str(each.readings),
                str(each.bad + each.suspect),
            ]
        )
    return _section(
        "Sensors",
        [rows, [0.04, 0.17, 0.15, 0.17, 0.3, 0.1, 0.07]],
        "No channel was on the part.",
        width,
    )


def _gaps(record: HeatRecord, how: Printing, width: float) -> list[Any]:
    rows = [["channel", "from", "for", "why"]]
    for each in record.gaps:
        rows.append(
            [
                each.channel or "all",
                clock_text(each.from_us, how.zone),
                words.duration_text((each.to_us - each.from_us) / 1e6),
                each.why,
            ]
        )
    none = "No gap longer than ten seconds or three usual intervals."
    return _section("Gaps in the record", [rows, [0.2, 0.28, 0.14, 0.38]], none, width)


def _outcome(record: HeatRecord, how: Printing, width: float) -> list[Any]:
    said = [outcome.outcome_rows(record, how.zone), [0.26, 0.12, 0.52, 0.1]]
    photos: list[Any] = []
    if record.photos:
        rows = [outcome.photo_rows(record, how.zone), [0.1, 0.24, 0.26, 0.4]]
        photos = _section("Photos", rows, "", width)
    lines = [outcome.work_line(record.work)]
    return [*_section("What came of it", said, outcome.NOT_SAID, width, lines), *photos]


def _notes(record: HeatRecord, how: Printing, width: float) -> list[Any]:
    rows = [["when", "by", "note"]]
    rows += [[clock_text(each.at_us, how.zone), each.by or "–", each.text] for each in record.notes]
    return _section("Notes", [rows, [0.28, 0.17, 0.55]], "No note was written.", width)


def _deviations(record: HeatRecord, how: Printing, width: float) -> list[Any]:
    rows = [["when", "run time", "what"]]
    for each in record.deviations:
        when = "–" if each.at_us is None else clock_text(each.at_us, how.zone)
        run = "–" if each.at_us is None else words.run_text(record, each.at_us)
        rows.append([when, run, each.text])
    none = "None was found in what was recorded, which proves nothing about what was not."
    return _section("Deviations", [rows, [0.26, 0.1, 0.64]], none, width)


def _signature(how: Printing) -> list[Any]:
    name = f" ({how.operator})" if how.operator else ""
    line = f"Operator{name}: ____________________________   Date: ____________________"
    return [Spacer(1, 22), _para(line)]


def _section(
    title: str, table: Sequence[Any], none: str, width: float, lines: Sequence[str] = ()
) -> list[Any]:
    rows, shares = table
    body: list[Any] = [_table(rows, shares, width)] if len(rows) > 1 else [_para(none)]
    more: list[Any] = [Spacer(1, 3)] if lines else []
    heading = _para(title, HEADING)
    heading.keepWithNext = True
    return [heading, *body, *more, *(_para(line) for line in lines)]


def _table(
    rows: Sequence[Sequence[str]], shares: Sequence[float], width: float, heading: bool = True
) -> Any:
    cells = [[_para(text, CELL) for text in row] for row in rows]
    style: list[Any] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.25, Color(0.6, 0.6, 0.6)),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2),
    ]
    if heading:
        style.append(("LINEBELOW", (0, 0), (-1, 0), 0.8, black))
    return Table(
        cells,
        colWidths=[share * width for share in shares],
        style=style,
        repeatRows=1 if heading else 0,
    )
