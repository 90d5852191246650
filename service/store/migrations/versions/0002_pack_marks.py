"""The senders' marks on packs, so that a second delivery is recognised after a restart.

Revision ID: 0002
Revises: 0001
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "pack_mark",
        sa.Column("link", sa.Text(), nullable=False),
        sa.Column("at_seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("boot", sa.Text(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("link", "at_seq", name=op.f("pk_pack_mark")),
        sqlite_with_rowid=False,
    )
