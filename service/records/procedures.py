"""Procedures out of a database, for the pages."""

from __future__ import annotations

from typing import Any

from service.store.database import Store
from service.store.procedures import read_procedures


def procedures_of(store: Store) -> list[dict[str, Any]]:
    """Every procedure with its versions, newest first; raises ``StoreError``."""
    with store.connect() as connection:
        return read_procedures(connection)
