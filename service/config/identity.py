"""What a shop is called when its config does not say: its database and its MQTT session."""

from __future__ import annotations

import hashlib
import platform
from pathlib import Path

import platformdirs

_MACHINE_ID_FILES = (Path("/etc/machine-id"), Path("/var/lib/dbus/machine-id"))


def default_database_url() -> str:
    """SQLite in the user's data directory."""
    folder = Path(platformdirs.user_data_dir("heatwindow", appauthor=False))
    return f"sqlite:///{folder / 'shop.db'}"


def machine_id() -> str:
    """What tells this machine from others: systemd's machine id, else the host name."""
    for file in _MACHINE_ID_FILES:
        try:
            text = file.read_text(encoding="ascii").strip()
        except (OSError, UnicodeDecodeError):
            continue
        if text:
            return text
    return platform.node()


def derived_client_id(machine: str, database_url: str) -> str:
    """``hw-`` and 20 hex digits: 23 characters, which every broker must accept.

    Source for the length: MQTT 3.1.1, section 3.1.3.1.
    """
    digest = hashlib.sha256(f"{machine}\n{database_url}".encode()).hexdigest()
    return f"hw-{digest[:20]}"
