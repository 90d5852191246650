"""What came of a heat, and photos.

Revision ID: 0009
Revises: 0008
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "outcome",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("said_by", sa.Text()),
        sa.Column("cracked", sa.String(20)),
        sa.Column("root", sa.String(20)),
        sa.Column("root_photo", sa.String(64)),
        sa.Column("oxygen_colour", sa.Integer()),
        sa.Column("penetration", sa.String(20)),
        sa.Column("words", sa.Text()),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outcome")),
    )
    op.create_index(op.f("ix_outcome_heat_id"), "outcome", ["heat_id"])
    op.create_table(
        "outcome_dimension",
        sa.Column("outcome_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("before_mm", sa.Float(53)),
        sa.Column("after_mm", sa.Float(53)),
        sa.ForeignKeyConstraint(
            ["outcome_id"], ["outcome.id"], name=op.f("fk_outcome_dimension_outcome_id")
        ),
        sa.PrimaryKeyConstraint("outcome_id", "place", name=op.f("pk_outcome_dimension")),
    )
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("of", sa.String(10), nullable=False),
        sa.Column("part_id", sa.Integer()),
        sa.Column("heat_id", sa.Integer()),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("media_type", sa.String(20), nullable=False),
        sa.Column("caption", sa.Text()),
        sa.Column("said_by", sa.Text()),
        sa.Column("added_us", sa.BigInteger(), nullable=False),
        sa.Column("dropped_us", sa.BigInteger()),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo")),
    )
    op.create_index(op.f("ix_photo_heat_id"), "photo", ["heat_id"])
    op.create_index(op.f("ix_photo_part_id"), "photo", ["part_id"])
