"""When a machine's date is doubted, and until when."""

from __future__ import annotations

from datetime import UTC, datetime

from service.commands.date_doubt import DateDoubt

DAY_US = 86_400_000_000
TODAY_US = round(datetime(2026, 11, 25, 12, tzinfo=UTC).timestamp() * 1e6)


def test_a_likely_date_is_not_doubted() -> None:
    assert DateDoubt(0, TODAY_US, 0).text(0, TODAY_US) is None
    assert DateDoubt(0, TODAY_US, TODAY_US - DAY_US).text(0, TODAY_US) is None
    assert DateDoubt(0, TODAY_US, TODAY_US + 30_000_000).text(0, TODAY_US) is None


def test_a_date_before_this_program_is_doubted_until_it_is_set() -> None:
    """2000-01-01: where a clock without a battery begins (common practice, no source)."""
    early_us = round(datetime(2000, 1, 1, tzinfo=UTC).timestamp() * 1e6)
    doubt = DateDoubt(0, early_us, 0)
    said = doubt.text(0, early_us)
    assert said is not None
    assert "2000-01-01 00:00 UTC, cannot be right" in said
    assert doubt.text(TODAY_US - early_us, TODAY_US) is None


def test_a_date_behind_the_newest_record_is_doubted_until_it_is_set() -> None:
    """A board that saved its date now and then starts where it saved it last."""
    doubt = DateDoubt(-DAY_US, TODAY_US - DAY_US, TODAY_US)
    said = doubt.text(-DAY_US, TODAY_US - DAY_US + 10)
    assert said is not None
    assert "newest record, of 2026-11-25 12:00 UTC" in said
    # Time alone does not make it right.
    assert doubt.text(-DAY_US, TODAY_US + 5 * DAY_US) is not None
    assert doubt.text(0, TODAY_US + 600_000_000) is None
