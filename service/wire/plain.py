"""Plain text lines, before anything is read from them."""

from __future__ import annotations

from service.wire.pack import Reject, RejectCause, shown

MAX_TEXT_LINE = 4096
"""Longest plain line read [bytes]; no simple instrument sends more in one."""


def plain_text(line: bytes) -> str | Reject:
    """A plain line as text without outer spaces, or why it is none.

    The mark that some programs write before the first line of a file (a byte order mark) is
    dropped: with it the header would be refused, and every row after it.
    """
    if len(line) > MAX_TEXT_LINE:
        return Reject(RejectCause.LENGTH, f"{len(line)} bytes in a line; {MAX_TEXT_LINE} allowed")
    try:
        text = line.decode("utf-8-sig").strip()
    except UnicodeDecodeError as error:
        return Reject(RejectCause.SYNTAX, f"not UTF-8: {error.reason} at byte {error.start}")
    if not text.replace("\t", " ").isprintable():
        return Reject(RejectCause.SYNTAX, f"{shown(text)} holds control characters")
    return text
