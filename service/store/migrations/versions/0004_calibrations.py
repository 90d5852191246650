"""How channels are corrected, and since when.

Revision ID: 0004
Revises: 0003
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("from_us", sa.BigInteger(), nullable=False),
        sa.Column("due_us", sa.BigInteger()),
        sa.Column("checks", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channel.id"], name=op.f("fk_calibration_channel_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calibration")),
    )
    with op.batch_alter_table("calibration") as table:
        table.create_index(op.f("ix_calibration_channel_id"), ["channel_id"], unique=False)
