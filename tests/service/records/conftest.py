"""A recorded heat, made once; tests that write copy it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from service.store.database import Store
from tests.field.recorded_heat import record_heat


@pytest.fixture(scope="session")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with one heat that has ended."""
    path = tmp_path_factory.mktemp("recorded") / "shop.db"
    record_heat(path)
    return path


HOSTILE = '=HYPERLINK("http://x/")<script>alert(1)</script>&<b>%s 漢'
AUTUMN_US = 1_792_889_610_000_000
"""2026-10-25T00:53:30Z: half a dozen minutes before clocks in Dublin go back (IANA database)."""
STEP_US = -90_000_000


@pytest.fixture(scope="session")
def odd(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A heat that is still open, of a part and a probe with hostile names, in the hour that the
    clock on the wall shows twice, and the computer's clock was wrong too."""
    path = tmp_path_factory.mktemp("odd") / "shop.db"
    record_heat(
        path, name=HOSTILE, probe="=1+tc", start_us=AUTUMN_US, clock_step_us=STEP_US, end=False
    )
    return path


@pytest.fixture
def hostile() -> str:
    return HOSTILE


@pytest.fixture
def kept(recorded: Path) -> Iterator[Store]:
    store = Store.open_to_read(f"sqlite:///{recorded}")
    yield store
    store.close()
