"""The tables of procedures and of what goes by them: projections of the journal.

``heat_procedure`` points to the version that a heat began with, and ``procedure_version`` to its
procedure: the database itself refuses to delete what a record rests on.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Integer,
    Table,
    Text,
)

from service.store.schema import metadata

procedure = Table(
    "procedure",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("created_us", BigInteger, nullable=False),
)
"""``name`` is the newest version's."""

procedure_version = Table(
    "procedure_version",
    metadata,
    Column(
        "procedure_id",
        Integer,
        ForeignKey("procedure.id"),
        primary_key=True,
        autoincrement=False,
    ),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("written_us", BigInteger, nullable=False),
    Column("said_by", Text),
    Column("body", Text, nullable=False),
)
"""One row for each version, never changed; ``body`` is ``ProcedureFacts`` as JSON."""

limits_said = Table(
    "limits_said",
    metadata,
    Column("part_id", Integer, ForeignKey("part.id"), primary_key=True, autoincrement=False),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("said_by", Text),
    Column("procedure_id", Integer),
    Column("procedure_version", Integer),
    ForeignKeyConstraint(
        ["procedure_id", "procedure_version"],
        ["procedure_version.procedure_id", "procedure_version.version"],
    ),
)
"""Who said a version of a part's limits (``limits``), and the procedure they were taken from."""

heat_procedure = Table(
    "heat_procedure",
    metadata,
    Column("heat_id", Integer, ForeignKey("heat.id"), primary_key=True, autoincrement=False),
    Column("procedure_id", Integer, nullable=False),
    Column("version", Integer, nullable=False),
    ForeignKeyConstraint(
        ["procedure_id", "version"],
        ["procedure_version.procedure_id", "procedure_version.version"],
    ),
)
"""What a heat began with, and keeps."""

part_procedure = Table(
    "part_procedure",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("part_id", Integer, ForeignKey("part.id"), nullable=False, index=True),
    Column("from_us", BigInteger, nullable=False),
    Column("procedure_id", Integer),
    Column("version", Integer),
    Column("said_by", Text),
    ForeignKeyConstraint(
        ["procedure_id", "version"],
        ["procedure_version.procedure_id", "procedure_version.version"],
    ),
)
"""What a part was set to and from when; the row with the greatest ``id`` holds, and one without a
procedure says that it goes by none."""

heat_step = Table(
    "heat_step",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("heat_id", Integer, ForeignKey("heat.id"), nullable=False, index=True),
    Column("number", Integer, nullable=False),
    Column("ticked_us", BigInteger, nullable=False),
    Column("said_by", Text),
    Column("back_us", BigInteger),
    Column("back_by", Text),
)
"""A row for each tick; ``back_us``: it was taken back then."""
