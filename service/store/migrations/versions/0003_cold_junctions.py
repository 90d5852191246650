"""How a thermocouple that arrives as a voltage becomes a temperature.

Revision ID: 0003
Revises: 0002
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("channel") as table:
        table.add_column(sa.Column("thermocouple", sa.String(1)))
        table.add_column(sa.Column("cold_junction_id", sa.Integer()))
