"""MQTT topic filters (MQTT 3.1.1, section 4.7)."""

from __future__ import annotations


def filter_fault(topic_filter: str) -> str | None:
    """What is wrong with a topic filter, or ``None``."""
    if "\0" in topic_filter:
        return "must not hold a NUL character"
    levels = topic_filter.split("/")
    for place, level in enumerate(levels):
        if "#" in level and (level != "#" or place != len(levels) - 1):
            return "'#' must be the whole last level"
        if "+" in level and level != "+":
            return "'+' must be a whole level"
    return None


def matches(topic_filter: str, topic: str) -> bool:
    """Whether a published topic falls under a valid filter."""
    wanted, given = topic_filter.split("/"), topic.split("/")
    if given[0].startswith("$") and wanted[0] in ("#", "+"):
        return False
    for place, level in enumerate(wanted):
        if level == "#":
            return True
        if place >= len(given) or level not in ("+", given[place]):
            return False
    return len(wanted) == len(given)
