"""The first tables.

Revision ID: 0001
Revises: nothing
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# Copied, not imported: a migration must go on doing what it did when it was written.
UNITS = {0: "", 1: "Cel", 2: "l/min", 3: "ppm", 4: "Pa", 5: "A", 6: "mV", 7: "on/off"}
QUALITIES = {0: "good", 1: "suspect", 2: "bad"}


def upgrade() -> None:
    _create_facts()
    _create_logs()
    _create_projections()
    _create_upkeep()
    _fill_code_tables()


def _create_facts() -> None:
    op.create_table(
        "unit",
        sa.Column("id", sa.SmallInteger(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_unit")),
        sa.UniqueConstraint("name", name=op.f("uq_unit_name")),
    )
    op.create_table(
        "quality",
        sa.Column("code", sa.SmallInteger(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=10), nullable=False),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_quality")),
        sa.UniqueConstraint("name", name=op.f("uq_quality_name")),
    )
    op.create_table(
        "channel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=True),
        sa.Column("unit_id", sa.SmallInteger(), nullable=False),
        sa.Column("adopted_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_channel_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_channel")),
        sa.UniqueConstraint("name", name=op.f("uq_channel_name")),
    )
    op.create_table(
        "reading",
        sa.Column("channel_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("t_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("value", sa.Float(precision=53), nullable=True),
        sa.Column("quality", sa.SmallInteger(), nullable=False),
        sa.Column("delay_us", sa.BigInteger(), nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("unit_id", sa.SmallInteger(), nullable=False),
        sa.Column("flags", sa.SmallInteger(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("channel_id", "t_us", name=op.f("pk_reading")),
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index(
            "ix_reading_stray_seq", ["seq"], unique=False, sqlite_where=sa.text("flags >= 2")
        )
    op.create_table(
        "seq_mark",
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("offset_us", sa.BigInteger(), nullable=False),
        sa.Column("mono_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_seq_mark")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "journal",
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("mono_us", sa.BigInteger(), nullable=False),
        sa.Column("utc_us", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_journal")),
    )


def _create_logs() -> None:
    op.create_table(
        "alarm_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("alarm_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=True),
        sa.Column("channel", sa.Text(), nullable=True),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("since_us", sa.BigInteger(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("mono_us", sa.BigInteger(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("speak", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alarm_change")),
    )
    with op.batch_alter_table("alarm_change", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_alarm_change_mono_us"), ["mono_us"], unique=False)
    op.create_table(
        "verdict_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("mono_us", sa.BigInteger(), nullable=False),
        sa.Column("phase", sa.String(length=20), nullable=False),
        sa.Column("verdict", sa.String(length=10), nullable=False),
        sa.Column("heat", sa.String(length=10), nullable=False),
        sa.Column("purge", sa.String(length=10), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_verdict_change")),
    )
    with op.batch_alter_table("verdict_change", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_verdict_change_mono_us"), ["mono_us"], unique=False)
    op.create_table(
        "gap",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("from_us", sa.BigInteger(), nullable=False),
        sa.Column("to_us", sa.BigInteger(), nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gap")),
    )
    op.create_table(
        "notice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("seen_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notice")),
    )
    op.create_table(
        "misfit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_misfit")),
    )


def _create_projections() -> None:
    op.create_table(
        "part",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("metal", sa.Text(), nullable=False),
        sa.Column("mass_kg", sa.Float(precision=53), nullable=True),
        sa.Column("area_m2", sa.Float(precision=53), nullable=True),
        sa.Column("cavity_volume_l", sa.Float(precision=53), nullable=True),
        sa.Column("hose_volume_l", sa.Float(precision=53), nullable=True),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.Column("changed_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part")),
    )
    op.create_table(
        "limits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("from_us", sa.BigInteger(), nullable=False),
        sa.Column("preheat_min_c", sa.Float(precision=53), nullable=True),
        sa.Column("interpass_max_c", sa.Float(precision=53), nullable=True),
        sa.Column("cooling_max_c_per_h", sa.Float(precision=53), nullable=True),
        sa.Column("oxygen_max_ppm", sa.Float(precision=53), nullable=True),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_limits_part_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_limits")),
    )
    with op.batch_alter_table("limits", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_limits_part_id"), ["part_id"], unique=False)
    op.create_table(
        "heat",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("begun_seq", sa.BigInteger(), nullable=False),
        sa.Column("begun_us", sa.BigInteger(), nullable=False),
        sa.Column("ended_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_heat_part_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_heat")),
    )
    with op.batch_alter_table("heat", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_heat_part_id"), ["part_id"], unique=False)
    op.create_table(
        "heat_phase",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.Integer(), nullable=False),
        sa.Column("from_us", sa.BigInteger(), nullable=False),
        sa.Column("phase", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heat.id"], name=op.f("fk_heat_phase_heat_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_heat_phase")),
    )
    with op.batch_alter_table("heat_phase", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_heat_phase_heat_id"), ["heat_id"], unique=False)
    op.create_table(
        "purge",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.Integer(), nullable=False),
        sa.Column("begun_us", sa.BigInteger(), nullable=False),
        sa.Column("ended_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["heat_id"], ["heat.id"], name=op.f("fk_purge_heat_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_purge")),
    )
    with op.batch_alter_table("purge", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_purge_heat_id"), ["heat_id"], unique=False)
    op.create_table(
        "weld_pass",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("begun_us", sa.BigInteger(), nullable=False),
        sa.Column("ended_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["heat_id"], ["heat.id"], name=op.f("fk_weld_pass_heat_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weld_pass")),
    )
    with op.batch_alter_table("weld_pass", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_weld_pass_heat_id"), ["heat_id"], unique=False)
    op.create_table(
        "assignment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("from_us", sa.BigInteger(), nullable=False),
        sa.Column("to_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channel.id"], name=op.f("fk_assignment_channel_id")
        ),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_assignment_part_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_assignment")),
    )
    with op.batch_alter_table("assignment", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_assignment_channel_id"), ["channel_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_assignment_part_id"), ["part_id"], unique=False)


def _create_upkeep() -> None:
    op.create_table(
        "checkpoint",
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("state", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_checkpoint")),
    )
    op.create_table(
        "rollup",
        sa.Column("span_s", sa.SmallInteger(), autoincrement=False, nullable=False),
        sa.Column("channel_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("unit_id", sa.SmallInteger(), autoincrement=False, nullable=False),
        sa.Column("slot", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("low", sa.Float(precision=53), nullable=True),
        sa.Column("high", sa.Float(precision=53), nullable=True),
        sa.Column("total", sa.Float(precision=53), nullable=True),
        sa.Column("good", sa.Integer(), nullable=False),
        sa.Column("suspect", sa.Integer(), nullable=False),
        sa.Column("bad", sa.Integer(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=True),
        sa.Column("last_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("span_s", "channel_id", "unit_id", "slot", name=op.f("pk_rollup")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "rollup_mark",
        sa.Column("id", sa.SmallInteger(), autoincrement=False, nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_rollup_mark_one_row")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rollup_mark")),
    )


def _fill_code_tables() -> None:
    unit = sa.table("unit", sa.column("id"), sa.column("name"))
    op.bulk_insert(unit, [{"id": code, "name": name} for code, name in UNITS.items()])
    quality = sa.table("quality", sa.column("code"), sa.column("name"))
    op.bulk_insert(quality, [{"code": code, "name": name} for code, name in QUALITIES.items()])
    mark = sa.table("rollup_mark", sa.column("id"), sa.column("seq"))
    op.bulk_insert(mark, [{"id": 1, "seq": 0}])
