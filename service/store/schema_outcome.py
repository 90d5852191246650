"""The tables of what came of a heat and of photos: projections of the journal.

Their heats and parts are no foreign keys: what was said of one heat while another ran goes along
in the file of that other one, and into a database that has only that.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Float, ForeignKey, Integer, String, Table, Text

from service.store.schema import metadata

outcome = Table(
    "outcome",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("heat_id", Integer, nullable=False, index=True),
    Column("at_us", BigInteger, nullable=False),
    Column("said_by", Text),
    Column("cracked", String(20)),
    Column("root", String(20)),
    Column("root_photo", String(64)),
    Column("oxygen_colour", Integer),
    Column("penetration", String(20)),
    Column("words", Text),
)
"""Every saying; the one with the greatest ``id`` of a heat holds."""

outcome_dimension = Table(
    "outcome_dimension",
    metadata,
    Column("outcome_id", Integer, ForeignKey("outcome.id"), primary_key=True),
    Column("place", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("before_mm", Float(53)),
    Column("after_mm", Float(53)),
)

photo = Table(
    "photo",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("sha256", String(64), nullable=False),
    Column("of", String(10), nullable=False),
    Column("part_id", Integer, index=True),
    Column("heat_id", Integer, index=True),
    Column("size_bytes", Integer, nullable=False),
    Column("media_type", String(20), nullable=False),
    Column("caption", Text),
    Column("said_by", Text),
    Column("added_us", BigInteger, nullable=False),
    Column("dropped_us", BigInteger),
)
"""What lies in the folder beside the database and what it is of; ``dropped_us``: shown no more
since then. The file stays in any case."""
