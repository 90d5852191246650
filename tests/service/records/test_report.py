"""``heatwindow report``: the PDF as a reader's program sees it, rendered to pixels."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest

from service.commands.main import main

POINTS = {"A4": (595, 842), "Letter": (612, 792)}


def printed(path: Path, database: Path, *more: str) -> Any:
    given = ["report", "1", "-o", str(path), "--database", str(database), *more]
    assert main(given) == 0
    return pypdfium2.PdfDocument(path)


def text_of(document: Any) -> str:
    pages = [document[place].get_textpage().get_text_range() for place in range(len(document))]
    return " ".join(" ".join(pages).split())


def pixels(document: Any, page: int) -> np.ndarray:
    return np.asarray(document[page].render(scale=2).to_pil().convert("RGB"), dtype=int)


@pytest.mark.parametrize("paper", POINTS)
def test_all_is_on_paper_in_black_and_white(recorded: Path, tmp_path: Path, paper: str) -> None:
    document = printed(
        tmp_path / "heat.pdf", recorded, "--paper", paper, "--operator", "Ada", "--timezone", "UTC"
    )
    assert tuple(round(each) for each in document[0].get_size()) == POINTS[paper]
    text = text_of(document)
    for words in (
        "Thermal record of heat 1", "pump engine manifold", "preheat at least 200 °C", "version 1",
        "Passes", "Alarms", "rates, gradients", "Purge", "Sensors", "Gaps in the record",
        "Deviations", "Cautions", "Operator (Ada)", "10 mm from the groove's edge",
        "read 0.5 for 0", "due 2026-12-20", "type K, IEC class 1", "class and drift not said",
        "unplugged for the carry",
        "Pass 1 began while the verdict was wait.", "note <b>: slag in the toe",
        "It does not say that a weld",
        "2026-09-21 14:13:50 +00:00", "66 l", f"page 1 of {len(document)}",
    ):  # fmt: skip
        assert words in text, words
    for page in range(len(document)):
        seen = pixels(document, page)
        assert (seen.max(axis=2) - seen.min(axis=2)).max() == 0  # grey, no hue anywhere
        margin = np.concatenate([seen[:20].ravel(), seen[:, :20].ravel(), seen[:, -20:].ravel()])
        assert margin.min() == 255  # nothing runs off the paper
        assert (seen < 128).any()


def test_the_chart_shows_lines_that_differ_without_colour(recorded: Path, tmp_path: Path) -> None:
    """In the slow cool only the two probes' lines are dark: one whole, one dashed."""
    document = printed(tmp_path / "heat.pdf", recorded)
    dark = pixels(document, 0).max(axis=2) < 100
    columns = slice(int(dark.shape[1] * 0.70), int(dark.shape[1] * 0.86))
    rows = slice(int(dark.shape[0] * 0.26), int(dark.shape[0] * 0.31))
    inked = [row.mean() for row in np.array_split(dark[rows, columns].T, 60)]
    assert max(inked) > min(inked) > 0


def test_a_heat_with_everything_odd(odd: Path, tmp_path: Path, hostile: str) -> None:
    path = tmp_path / "heat.pdf"
    text = text_of(printed(path, odd, "--timezone", "Europe/Dublin"))
    # Names like formulas and scripts are only text; what the font lacks is told by its code.
    assert hostile.replace("漢", "[U+6F22]") in text
    assert "=1+tc" in text
    body = re.sub(rb"stream\r?\n.*?endstream", b"", path.read_bytes(), flags=re.DOTALL)
    for active in (b"/JavaScript", b"/JS", b"/URI", b"/Annots", b"/OpenAction", b"/Launch"):
        assert active not in body
    # In the hour that comes twice the offset tells.
    assert "2026-10-25 01:52:30 +01:00" in text  # begun, by the clock as corrected
    assert "2026-10-25 01:00:53 +00:00" in text  # the first pass
    # The clock was wrong, the heat is open.
    assert "The wall clock was corrected by -90.000 s during the heat" in text
    assert "still open" in text


@pytest.mark.parametrize(
    ("given", "code", "words"),
    [
        (["report", "9"], 2, "there is no heat 9; the database has the heats 1 to 1"),
        (["report", "1", "--timezone", "Mars/North"], 2, "the time zone 'Mars/North' is not known"),
        (["report", "1", "--paper", "A5"], 2, "invalid choice: 'A5'"),
        (["report", "one"], 2, "invalid int value: 'one'"),
    ],
)
def test_what_cannot_be_printed_is_one_sentence(
    recorded: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], given, code, words
) -> None:
    path = tmp_path / "heat.pdf"
    assert main([*given, "-o", str(path), "--database", str(recorded)]) == code
    assert words in capsys.readouterr().err
    assert not path.exists()


def test_a_folder_that_is_not_there_is_one_sentence(
    recorded: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "absent" / "heat.pdf"
    assert main(["report", "1", "-o", str(path), "--database", str(recorded)]) == 1
    assert "No such file or directory" in capsys.readouterr().err
