"""The tables, as SQLAlchemy Core; the migrations build exactly these (a test compares).

Three kinds of table:

* **facts**: ``reading`` (every decoded value), ``journal`` (every accepted action);
* **logs** of what the judge concluded: ``alarm_change``, ``verdict_change``, ``trip_change``;
* **projections** of the journal and of ``trip_change``, written in the same transaction as its row,
  so that a query need not replay it: ``part``, ``limits``, ``heat``, ``heat_phase``, ``purge``,
  ``weld_pass``, ``assignment``, ``calibration``, and what has been said of a ``channel``.

Times are whole microseconds: ``*_us`` since 1970-01-01 UTC by the wall clock, ``mono_us`` by the
monotonic shop clock. Numbers of a reading are in the unit that ``unit`` names.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
    text,
)

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}

metadata = MetaData(naming_convention=NAMING)

GOOD, SUSPECT, BAD = 0, 1, 2
"""Codes of ``reading.quality``; spelled out in the table ``quality`` for other programs."""

TIMED = 1
"""Bit of ``reading.flags``: the source itself sent the time."""

STRAY = 2
"""Bit of ``reading.flags``: found by ``seq``, not by its time (see ``seq_mark``)."""

BY_HAND = 4
"""Bit of ``reading.flags``: typed in by a person, whose words are in ``reason``. Its place in the
order is that of the action in ``journal``, from which the judge takes it; also ``STRAY``."""

unit = Table(
    "unit",
    metadata,
    Column("id", SmallInteger, primary_key=True, autoincrement=False),
    Column("name", String(40), nullable=False, unique=True),
)
"""Units inside the service; 0, with an empty name, is "no unit" (only faults came)."""

UNITS = {0: "", 1: "Cel", 2: "l/min", 3: "ppm", 4: "Pa", 5: "A", 6: "mV", 7: "on/off"}
"""What a new database's ``unit`` holds; a unit not among them is added when it first comes."""

quality = Table(
    "quality",
    metadata,
    Column("code", SmallInteger, primary_key=True, autoincrement=False),
    Column("name", String(10), nullable=False, unique=True),
)

channel = Table(
    "channel",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("kind", String(40)),
    Column("unit_id", SmallInteger, ForeignKey("unit.id"), nullable=False),
    Column("adopted_us", BigInteger),
    Column("thermocouple", String(1)),
    Column("cold_junction_id", Integer),
)
"""``unit_id`` is the unit the channel last sent; ``kind`` is empty until somebody adopts it.
``thermocouple`` (the type's letter) and ``cold_junction_id`` (the channel that measures the
terminals) belong to a channel that sends a thermocouple's bare voltage."""

reading = Table(
    "reading",
    metadata,
    Column("channel_id", Integer, primary_key=True, autoincrement=False),
    Column("t_us", BigInteger, primary_key=True, autoincrement=False),
    Column("value", Float(53)),
    Column("quality", SmallInteger, nullable=False),
    Column("delay_us", BigInteger, nullable=False),
    Column("seq", BigInteger, nullable=False),
    Column("unit_id", SmallInteger, nullable=False),
    Column("flags", SmallInteger, nullable=False),
    Column("reason", Text),
    sqlite_with_rowid=False,
)
"""One row for each decoded value; never changed.

``delay_us`` is arrival minus ``t_us``. A different value at the same channel and instant is kept
one microsecond on, with its arrival unchanged. The ids are not declared as foreign keys: the
check would cost a lookup for each row, and only one writer ever makes them.
"""

Index("ix_reading_stray_seq", reading.c.seq, sqlite_where=text("flags >= 2"))

seq_mark = Table(
    "seq_mark",
    metadata,
    Column("seq", BigInteger, primary_key=True, autoincrement=False),
    Column("offset_us", BigInteger, nullable=False),
    Column("mono_us", BigInteger, nullable=False),
    sqlite_with_rowid=False,
)
"""Milestones in the order of arrival: what holds for readings from ``seq`` to the next mark.

Arrival minus monotonic time is ``offset_us``. Unless it is flagged ``STRAY``, a reading arrived
between this mark's ``mono_us`` and the next one's, and its ``t_us`` is within 10 s of its
arrival. So readings are found in order of arrival by their time, and ``reading`` needs no second
index for it.
"""

pack_mark = Table(
    "pack_mark",
    metadata,
    Column("link", Text, primary_key=True),
    Column("at_seq", BigInteger, primary_key=True, autoincrement=False),
    Column("boot", Text, nullable=False),
    Column("number", BigInteger, nullable=False),
    sqlite_with_rowid=False,
)
"""The newest packs of each link that carried their sender's marks; ``at_seq`` is the place of the
pack's first reading in the order."""

journal = Table(
    "journal",
    metadata,
    Column("seq", BigInteger, primary_key=True, autoincrement=False),
    Column("mono_us", BigInteger, nullable=False),
    Column("utc_us", BigInteger, nullable=False),
    Column("kind", String(40), nullable=False),
    Column("body", Text, nullable=False),
)
"""Every accepted action, complete; ``body`` is its JSON."""

part = Table(
    "part",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("metal", Text, nullable=False),
    Column("mass_kg", Float(53)),
    Column("area_m2", Float(53)),
    Column("cavity_volume_l", Float(53)),
    Column("hose_volume_l", Float(53)),
    Column("created_us", BigInteger, nullable=False),
    Column("changed_us", BigInteger, nullable=False),
)
"""What is known of each part now; the journal holds what was known before."""

limits = Table(
    "limits",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("part_id", Integer, ForeignKey("part.id"), nullable=False, index=True),
    Column("version", Integer, nullable=False),
    Column("from_us", BigInteger, nullable=False),
    Column("preheat_min_c", Float(53)),
    Column("interpass_max_c", Float(53)),
    Column("cooling_max_c_per_h", Float(53)),
    Column("oxygen_max_ppm", Float(53)),
    Column("carry_max_s", Float(53)),
)
"""A part's limits, each version with the moment from which it held."""

heat = Table(
    "heat",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("part_id", Integer, ForeignKey("part.id"), nullable=False, index=True),
    Column("begun_seq", BigInteger, nullable=False),
    Column("begun_us", BigInteger, nullable=False),
    Column("ended_us", BigInteger),
    Column("arc_us", BigInteger),
    Column("pinned_us", BigInteger),
)
"""``arc_us``: how long the arc burnt in all its passes, where an arc channel watched.
``pinned_us``: since when its readings are kept for good; empty: they may go with age."""

heat_phase = Table(
    "heat_phase",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("heat_id", Integer, ForeignKey("heat.id"), nullable=False, index=True),
    Column("from_us", BigInteger, nullable=False),
    Column("phase", String(20), nullable=False),
    Column("number", Integer),
    Column("origin", String(10)),
    Column("said_us", BigInteger),
    Column("said_by", Text),
    Column("void_us", BigInteger),
)
"""Where a part was on its trip, and what said so: ``origin`` is tap, button or readings.

``said_us`` is when it was said or noticed, ``said_by`` who corrected it. ``void_us``: since then
another row says otherwise (it was corrected or taken back); nothing is deleted.
"""

purge = Table(
    "purge",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("heat_id", Integer, ForeignKey("heat.id"), nullable=False, index=True),
    Column("begun_us", BigInteger, nullable=False),
    Column("ended_us", BigInteger),
)

weld_pass = Table(
    "weld_pass",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("heat_id", Integer, ForeignKey("heat.id"), nullable=False, index=True),
    Column("number", Integer, nullable=False),
    Column("begun_us", BigInteger, nullable=False),
    Column("ended_us", BigInteger),
    Column("origin", String(10)),
    Column("arc_us", BigInteger),
    Column("void_us", BigInteger),
)
"""Weld runs. ``arc_us``: how long the arc burnt, where a channel watched; ``void_us``: taken back
then."""

assignment = Table(
    "assignment",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("channel_id", Integer, ForeignKey("channel.id"), nullable=False, index=True),
    Column("part_id", Integer, ForeignKey("part.id"), nullable=False, index=True),
    Column("from_us", BigInteger, nullable=False),
    Column("to_us", BigInteger),
)
"""Which channel sat on which part, and when; ``to_us`` is empty while it still does."""

calibration = Table(
    "calibration",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("channel_id", Integer, ForeignKey("channel.id"), nullable=False, index=True),
    Column("from_us", BigInteger, nullable=False),
    Column("due_us", BigInteger),
    Column("checks", Text, nullable=False),
    Column("note", Text, nullable=False),
)
"""How a channel's readings are corrected from ``from_us`` on; ``checks`` is JSON, a list of what it
read and what it should have read, empty where it is corrected no more."""

alarm_change = Table(
    "alarm_change",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("alarm_id", Integer, nullable=False),
    Column("kind", String(40), nullable=False),
    Column("part_id", Integer),
    Column("channel", Text),
    Column("state", String(20), nullable=False),
    Column("since_us", BigInteger, nullable=False),
    Column("at_us", BigInteger, nullable=False),
    Column("mono_us", BigInteger, nullable=False, index=True),
    Column("text", Text, nullable=False),
    Column("speak", Boolean, nullable=False),
)

verdict_change = Table(
    "verdict_change",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("heat_id", Integer, nullable=False),
    Column("at_us", BigInteger, nullable=False),
    Column("mono_us", BigInteger, nullable=False, index=True),
    Column("phase", String(20), nullable=False),
    Column("verdict", String(10), nullable=False),
    Column("heat", String(10), nullable=False),
    Column("purge", String(10), nullable=False),
    Column("text", Text, nullable=False),
)

trip_change = Table(
    "trip_change",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("heat_id", Integer, nullable=False),
    Column("number", Integer, nullable=False),
    Column("kind", String(20), nullable=False),
    Column("undone", String(20)),
    Column("phase", String(20)),
    Column("origin", String(10), nullable=False),
    Column("by", Text),
    Column("since_us", BigInteger, nullable=False),
    Column("arc_us", BigInteger),
    Column("at_us", BigInteger, nullable=False),
    Column("mono_us", BigInteger, nullable=False, index=True),
    Column("text", Text, nullable=False),
)
"""Every step of every trip, as it was noticed: what happened when, and what said so."""

gap = Table(
    "gap",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("from_us", BigInteger, nullable=False),
    Column("to_us", BigInteger, nullable=False),
    Column("readings", Integer, nullable=False),
    Column("why", Text, nullable=False),
)
"""Readings that arrived but could be kept nowhere: how many, between which arrivals, why."""

misfit = Table(
    "misfit",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("body", Text, nullable=False),
    Column("why", Text, nullable=False),
)
"""What the tables above would not take (a number out of range), kept as JSON for a person."""

notice = Table(
    "notice",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at_us", BigInteger, nullable=False),
    Column("text", Text, nullable=False),
    Column("seen_us", BigInteger),
)
"""What somebody must be told about the store itself; ``seen_us`` is empty until they were."""

imported = Table(
    "imported",
    metadata,
    Column("heat_id", Integer, primary_key=True, autoincrement=False),
    Column("first_seq", BigInteger, nullable=False),
    Column("last_seq", BigInteger, nullable=False),
    Column("source", Text, nullable=False),
    Column("at_us", BigInteger, nullable=False),
)
"""Heats recorded elsewhere: within which places of the order all lies, and from what file."""

checkpoint = Table(
    "checkpoint",
    metadata,
    Column("seq", BigInteger, primary_key=True, autoincrement=False),
    Column("state", LargeBinary, nullable=False),
)
"""The judge's state after the event ``seq``; opaque here."""

rollup = Table(
    "rollup",
    metadata,
    Column("span_s", SmallInteger, primary_key=True, autoincrement=False),
    Column("channel_id", Integer, primary_key=True, autoincrement=False),
    Column("unit_id", SmallInteger, primary_key=True, autoincrement=False),
    Column("slot", BigInteger, primary_key=True, autoincrement=False),
    Column("low", Float(53)),
    Column("high", Float(53)),
    Column("total", Float(53)),
    Column("good", Integer, nullable=False),
    Column("suspect", Integer, nullable=False),
    Column("bad", Integer, nullable=False),
    Column("first_us", BigInteger),
    Column("last_us", BigInteger),
    sqlite_with_rowid=False,
)
"""Readings summed up by spans of 10, 60 and 600 s; slot = t_us // (span_s · 10⁶).

``low``, ``high``, ``total`` (mean · good), ``first_us`` and ``last_us`` are of the good ones.
"""

kept_from = Table(
    "kept_from",
    metadata,
    Column("span_s", SmallInteger, primary_key=True, autoincrement=False),
    Column("from_us", BigInteger, nullable=False),
)
"""Thrown away by age: what was before ``from_us``, but for open and pinned heats; ``span_s`` 0 are
the readings themselves, else the slots of ``rollup``."""

rollup_mark = Table(
    "rollup_mark",
    metadata,
    Column("id", SmallInteger, primary_key=True, autoincrement=False),
    Column("seq", BigInteger, nullable=False),
    CheckConstraint("id = 1", name="one_row"),
)
"""``rollup`` holds every reading up to and including this ``seq``, and none after it."""
