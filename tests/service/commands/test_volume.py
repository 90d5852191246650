"""``heatwindow volume``: every form of piece, and what is refused."""

from __future__ import annotations

import json
import math

import pytest

from service.commands.errors import BadInput
from service.commands.main import main
from service.commands.volume import volume_of
from service.procedure.pieces import FORMS, piece_l


@pytest.mark.parametrize(
    ("piece", "litres"),
    [
        # Litres per metre and elbows of schedule 10S from the dimensions in the fluids package.
        ("pipe 2 x 1000", 2.3551),
        ("pipe 1 1/2 x 500", 0.7180),
        ("elbow 2", 0.2819),
        ("elbow 2 45", 0.2819 / 2),
        ("elbow 1 1/2", 0.1289),
        ("elbow 2 1/2 180", 2 * 0.5259),
        # By hand: π/4·(60.3 − 2·1.5)²·300, and 16 gauge (Birmingham) is 0.065 inch.
        ("tube 60.3 wall 1.5 x 300", math.pi / 4 * 57.3**2 * 300 / 1e6),
        ("tube 60.3 gauge 16 x 300", math.pi / 4 * (60.3 - 2 * 1.651) ** 2 * 300 / 1e6),
        ("bend 60.3 wall 1.5 r 90 60", math.pi / 4 * 57.3**2 * 90 * math.pi / 3 / 1e6),
        # A cylinder is a cone with equal ends; a pointed one holds a third of it.
        ("cone 60 60 x 80", math.pi / 4 * 60**2 * 80 / 1e6),
        ("cone 60 0 x 80", math.pi / 12 * 60**2 * 80 / 1e6),
        # Water at 20 °C weighs 0.9982 kg/l.
        ("water 6.35 4.00", 2.35 / 0.9982),
        ("litres 0.4", 0.4),
        ("less 0.4", -0.4),
    ],
)
def test_pieces(piece: str, litres: float) -> None:
    # The tables have four figures.
    assert piece_l(piece) == pytest.approx(litres, rel=5e-4)
    assert piece_l(f"  {piece.upper()}  ") == piece_l(piece)


def test_every_form_that_is_offered_is_understood() -> None:
    for form in FORMS:
        assert piece_l(form) > 0


def test_together(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["volume", "pipe 2 x 1000", "elbow 2", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["volume_l"] == pytest.approx(2.3551 + 0.2819, rel=5e-4)
    assert [part["piece"] for part in answer["pieces"]] == ["pipe 2 x 1000", "elbow 2"]


def test_water_is_baked_dry(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["volume", "water 6.35 4.00"]) == 0
    assert "baked dry before it is heated" in capsys.readouterr().out
    assert main(["volume", "pipe 2 x 300"]) == 0
    assert "baked dry" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("pieces", "text"),
    [
        (["pipe 7 x 300"], "'7' is not one of 1/2"),
        (["tube 60 gauge 40 x 300"], "gauge 40 is not one of 10 to 22"),
        (["tube 3 wall 2 x 300"], "leave no bore"),
        (["bend 60.3 wall 1.5 r 10 90"], "less than half the bore"),
        (["water 4 6"], "must be more than empty"),
        (["water 6 4 at 80"], "outside 0 to 40"),
        (["a bucket"], "pieces look like 'pipe 2 x 300'"),
        (["pipe 2 x -300"], "is not understood"),
        (["litres 0.4", "less 0.5"], "hold -0.100 l together"),
    ],
)
def test_refused(pieces: list[str], text: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(BadInput, match=text):
        volume_of(pieces)
    assert main(["volume", *pieces]) == 2
    assert "Traceback" not in capsys.readouterr().err
