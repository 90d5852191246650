"""Procedures in versions, what goes by them, and who said a limit.

Revision ID: 0008
Revises: 0007
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "procedure",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_procedure")),
    )
    op.create_table(
        "procedure_version",
        sa.Column("procedure_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("written_us", sa.BigInteger(), nullable=False),
        sa.Column("said_by", sa.Text()),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["procedure_id"], ["procedure.id"], name=op.f("fk_procedure_version_procedure_id")
        ),
        sa.PrimaryKeyConstraint("procedure_id", "version", name=op.f("pk_procedure_version")),
    )
    op.create_table(
        "limits_said",
        sa.Column("part_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("said_by", sa.Text()),
        sa.Column("procedure_id", sa.Integer()),
        sa.Column("procedure_version", sa.Integer()),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_limits_said_part_id")),
        _of_version("limits_said", "procedure_version"),
        sa.PrimaryKeyConstraint("part_id", "version", name=op.f("pk_limits_said")),
    )
    op.create_table(
        "heat_procedure",
        sa.Column("heat_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("procedure_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heat.id"], name=op.f("fk_heat_procedure_heat_id")),
        _of_version("heat_procedure", "version"),
        sa.PrimaryKeyConstraint("heat_id", name=op.f("pk_heat_procedure")),
    )
    op.create_table(
        "part_procedure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("from_us", sa.BigInteger(), nullable=False),
        sa.Column("procedure_id", sa.Integer()),
        sa.Column("version", sa.Integer()),
        sa.Column("said_by", sa.Text()),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_part_procedure_part_id")),
        _of_version("part_procedure", "version"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part_procedure")),
    )
    op.create_index(op.f("ix_part_procedure_part_id"), "part_procedure", ["part_id"])
    op.create_table(
        "heat_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("ticked_us", sa.BigInteger(), nullable=False),
        sa.Column("said_by", sa.Text()),
        sa.Column("back_us", sa.BigInteger()),
        sa.Column("back_by", sa.Text()),
        sa.ForeignKeyConstraint(["heat_id"], ["heat.id"], name=op.f("fk_heat_step_heat_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_heat_step")),
    )
    op.create_index(op.f("ix_heat_step_heat_id"), "heat_step", ["heat_id"])


def _of_version(table: str, version: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["procedure_id", version],
        ["procedure_version.procedure_id", "procedure_version.version"],
        name=op.f(f"fk_{table}_procedure_id"),
    )
