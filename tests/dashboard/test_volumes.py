"""What a cavity holds, by the API."""

from __future__ import annotations

import math

import pytest

from tests.field.described import fits


def asked(client, *pieces):
    return fits(
        client.get("/api/v1/volume", query_string={"piece": list(pieces)}), "/api/v1/volume"
    )


def test_pieces_are_added_up(client):
    """Litres per metre of 2 inch schedule 10S from the fluids package; the tube by hand."""
    told = asked(client, "pipe 2 x 1000", "tube 60.3 wall 1.5 x 300")
    tube_l = math.pi / 4 * 57.3**2 * 300 / 1e6
    assert told["volume_l"] == pytest.approx(2.3551 + tube_l, rel=5e-4)
    assert told["pieces"][1] == {
        "piece": "tube 60.3 wall 1.5 x 300",
        "volume_l": pytest.approx(tube_l),
    }
    assert len(told["cautions"]) == 1
    assert "baked dry" in asked(client, "water 6.35 4.00")["cautions"][0]


def test_without_a_piece_the_sizes_are_told(client):
    told = asked(client)
    assert told["volume_l"] is None
    assert told["pipe_sizes"][5] == "2"
    assert told["gauges"] == list(range(10, 23))


@pytest.mark.parametrize(
    ("pieces", "words"),
    [
        (["a bucket"], "Piece 'a bucket' is not understood; pieces look like 'pipe 2 x 300'"),
        (["pipe 7 x 300"], "'7' is not one of 1/2"),
        (["litres 0.4", "less 0.5"], "The pieces hold -0.100 l together"),
        (["pipe 2 x 1"] * 61, "61 pieces were given; at most 60 are allowed"),
        (["litres " + "9" * 60], "has 67 characters; 60 are allowed"),
        (["litres 1e400"], "is not understood"),
    ],
)
def test_what_is_no_piece_is_said(client, pieces, words):
    assert words in asked(client, *pieces)["detail"]
