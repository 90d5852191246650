"""Pinned heats, and what has been thrown away by age.

Revision ID: 0007
Revises: 0006
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "kept_from",
        sa.Column("span_s", sa.SmallInteger(), autoincrement=False, nullable=False),
        sa.Column("from_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("span_s", name=op.f("pk_kept_from")),
    )
    with op.batch_alter_table("heat") as table:
        table.add_column(sa.Column("pinned_us", sa.BigInteger()))
