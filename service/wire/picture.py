"""A JPEG or PNG file cut down to the picture: what a camera writes beside it is left out.

Cameras and telephones put where and when a picture was taken, the device and its number, previews
and whole films into the file. None of that is needed here, and a heat may be handed to a customer.
What makes the picture look as it should is kept byte for byte (nothing is encoded anew), and of
the rest only which way up it is held (Exif tag 0x0112).

Layouts: JPEG of ITU-T T.81, annex B; Exif of CIPA DC-008; PNG of ISO/IEC 15948, clause 5.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import Literal

MediaType = Literal["image/jpeg", "image/png"]

PNG_START = b"\x89PNG\r\n\x1a\n"
JPEG_START = b"\xff\xd8\xff"

_SOI, _EOI, _SOS, _COM = 0xD8, 0xD9, 0xDA, 0xFE
_ALONE = {0x01, *range(0xD0, 0xD8)}
"""JPEG markers without a length: TEM and the restarts."""
_EXIF = b"Exif\0\0"
_ORIENTATION = 0x0112

_PNG_KEPT = frozenset(
    (b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT",
     b"pHYs", b"bKGD")
)  # fmt: skip
"""Chunks that the picture consists of, and those that say how its colours and shape are meant."""


class NotAPicture(ValueError):
    """What is no JPEG or PNG file, or not whole; one sentence."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A file with nothing but the picture."""

    media_type: MediaType
    data: bytes


def only_the_picture(data: bytes) -> Picture:
    """The picture in a file.

    The same picture gives the same bytes, and what comes out is left as it is a second time.

    Raises:
        NotAPicture: It is something else, or ends too early.
    """
    if data.startswith(JPEG_START):
        return Picture("image/jpeg", _jpeg(data))
    if data.startswith(PNG_START):
        return Picture("image/png", _png(data))
    raise NotAPicture(
        f"the file begins with {_shown(data)}: it is neither JPEG nor PNG, which alone are taken"
    )


def _shown(data: bytes) -> str:
    start = data[:12]
    if start and all(32 <= each < 127 for each in start):
        return repr(start.decode("ascii"))
    return start.hex(" ") or "nothing"


# JPEG --------------------------------------------------------------------------------------------


def _jpeg(data: bytes) -> bytes:
    kept: list[bytes] = []
    turned: int | None = None
    place = 2
    while True:
        marker, place = _marker(data, place)
        if marker == _EOI:
            # What follows (a second picture, a film, anything) is no part of this one.
            return b"".join([b"\xff\xd8", _upright(turned), *kept, b"\xff\xd9"])
        if marker in _ALONE:
            kept.append(bytes((0xFF, marker)))
            continue
        body = _segment(data, place)
        if marker == 0xE1 and body[2:].startswith(_EXIF):
            turned = turned or _orientation(body[2 + len(_EXIF) :])
        if _shows(marker, body[2:]):
            kept.append(bytes((0xFF, marker)) + body)
        place += len(body)
        if marker == _SOS:
            end = _end_of_scan(data, place)
            kept.append(data[place:end])
            place = end


def _marker(data: bytes, place: int) -> tuple[int, int]:
    """The marker at a place, fill bytes before it skipped, and where it ends."""
    if place < len(data) and data[place] != 0xFF:
        raise NotAPicture(f"the JPEG file has {data[place]:#04x} at byte {place}, not a marker")
    while place < len(data) and data[place] == 0xFF:
        place += 1
    if place >= len(data):
        raise NotAPicture(f"the JPEG file ends after {len(data)} bytes, before its picture does")
    if data[place] in (0x00, _SOI):
        raise NotAPicture(f"the JPEG file has the marker {data[place]:#04x} at byte {place}")
    return data[place], place + 1


def _segment(data: bytes, place: int) -> bytes:
    """A segment with its two bytes of length."""
    (length,) = struct.unpack_from(">H", data, place) if place + 2 <= len(data) else (0,)
    if length < 2 or place + length > len(data):
        raise NotAPicture(f"the JPEG file ends within a segment at byte {place}, or it is damaged")
    return data[place : place + length]


def _shows(marker: int, body: bytes) -> bool:
    """Whether a segment is needed to show the picture: of APPn only density, colour profile and
    the kind of its colours."""
    if marker == 0xE0:
        return body.startswith(b"JFIF\0")
    if marker == 0xE2:
        return body.startswith(b"ICC_PROFILE\0")
    if marker == 0xEE:
        return body.startswith(b"Adobe")
    return not (0xE0 <= marker <= 0xEF or marker == _COM)


def _end_of_scan(data: bytes, place: int) -> int:
    """Where the coded data of a scan ends: at the next marker that is no restart."""
    while True:
        place = data.find(b"\xff", place)
        if place < 0 or place + 1 >= len(data):
            raise NotAPicture(f"the JPEG file ends after {len(data)} bytes, within its picture")
        after = data[place + 1]
        if after == 0xFF:
            place += 1
        elif after == 0x00 or after in _ALONE:
            place += 2
        else:
            return place


def _orientation(tiff: bytes) -> int | None:
    """Which way up, 1 to 8; ``None`` where it is not said or cannot be read."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(tiff[:4])
    if order is None or len(tiff) < 8:
        return None
    (first,) = struct.unpack_from(f"{order}I", tiff, 4)
    if first + 2 > len(tiff):
        return None
    (count,) = struct.unpack_from(f"{order}H", tiff, first)
    for entry in range(first + 2, min(first + 2 + 12 * count, len(tiff) - 11), 12):
        tag, kind, number, value = struct.unpack_from(f"{order}HHIH", tiff, entry)
        if (tag, kind, number) == (_ORIENTATION, 3, 1) and 1 <= value <= 8:
            return int(value)
    return None


def _upright(turned: int | None) -> bytes:
    """An Exif segment that says which way up the picture is, and nothing else."""
    if turned in (None, 1):
        return b""
    tiff = b"MM\0*" + struct.pack(">IHHHIHHI", 8, 1, _ORIENTATION, 3, 1, turned, 0, 0)
    body = _EXIF + tiff
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


# PNG ---------------------------------------------------------------------------------------------


def _png(data: bytes) -> bytes:
    kept = [PNG_START]
    place = len(PNG_START)
    while place + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, place)
        end = place + 12 + length
        if end > len(data):
            break
        kind = data[place + 4 : place + 8]
        (check,) = struct.unpack_from(">I", data, end - 4)
        if zlib.crc32(data[place + 4 : end - 4]) != check:
            raise NotAPicture(f"the PNG file is damaged in its chunk at byte {place}")
        if kind in _PNG_KEPT:
            kept.append(data[place:end])
        if kind == b"IEND":
            return b"".join(kept)
        place = end
    raise NotAPicture(f"the PNG file ends after {len(data)} bytes, before its picture does")
