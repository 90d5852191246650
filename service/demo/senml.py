"""What the simulated nodes send, written as a node's firmware would: by hand, as SenML JSON.

Source: RFC 8428 (JSON names of section 5); units ``Cel`` and ``l/s`` of its section 12.1,
``ppm`` of RFC 8798. ``boot`` and ``seq`` in the first record are this project's extension.
"""

from __future__ import annotations

import json

Value = float | str


def record(name: str, unit: str, value: Value) -> dict[str, object]:
    """One record: a number in ``v``, a fault in ``vs``."""
    if isinstance(value, str):
        return {"n": name, "u": unit, "vs": value}
    return {"n": name, "u": unit, "v": value}


def switch(name: str, on: bool, ago_s: float = 0.0) -> dict[str, object]:
    """One record of a contact, as it was ``ago_s`` before the pack is sent."""
    found: dict[str, object] = {"n": name, "vb": on}
    return {**found, "t": -ago_s} if ago_s else found


def pack(
    base_name: str,
    records: list[dict[str, object]],
    boot: str,
    seq: int,
    base_time_us: int | None = None,
) -> bytes:
    """One pack without a line end.

    Args:
        base_name: Put before every record's name.
        records: In order; the first gets the base fields.
        boot: New at each power-up.
        seq: Counts packs since then.
        base_time_us: Source time [µs UTC]; ``None`` from a node without a clock.
    """
    base: dict[str, object] = {"bn": base_name, "boot": boot, "seq": seq}
    if base_time_us is not None:
        base["bt"] = base_time_us / 1e6
    first = {**base, **records[0]}
    return json.dumps([first, *records[1:]], separators=(",", ":")).encode()
