"""Steps of a trip: what happened when, what said so, how long the arc burnt; the carry's limit.

Revision ID: 0005
Revises: 0004
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "trip_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("undone", sa.String(20)),
        sa.Column("phase", sa.String(20)),
        sa.Column("origin", sa.String(10), nullable=False),
        sa.Column("by", sa.Text()),
        sa.Column("since_us", sa.BigInteger(), nullable=False),
        sa.Column("arc_us", sa.BigInteger()),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("mono_us", sa.BigInteger(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trip_change")),
    )
    with op.batch_alter_table("trip_change") as table:
        table.create_index(op.f("ix_trip_change_mono_us"), ["mono_us"], unique=False)
    with op.batch_alter_table("limits") as table:
        table.add_column(sa.Column("carry_max_s", sa.Float(53)))
    with op.batch_alter_table("heat") as table:
        table.add_column(sa.Column("arc_us", sa.BigInteger()))
    with op.batch_alter_table("heat_phase") as table:
        table.add_column(sa.Column("number", sa.Integer()))
        table.add_column(sa.Column("origin", sa.String(10)))
        table.add_column(sa.Column("said_us", sa.BigInteger()))
        table.add_column(sa.Column("said_by", sa.Text()))
        table.add_column(sa.Column("void_us", sa.BigInteger()))
    with op.batch_alter_table("weld_pass") as table:
        table.add_column(sa.Column("origin", sa.String(10)))
        table.add_column(sa.Column("arc_us", sa.BigInteger()))
        table.add_column(sa.Column("void_us", sa.BigInteger()))
