"""Photos as files beside the database, named by what is in them.

``shop.db.photos/<sha256>.jpg`` or ``.png``. A name says what the file must hold, so the same
picture lies there once, a damaged one is found out, and copying is done when every name is there.
Nothing is deleted: a record may rest on it.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import io
import os
import shutil
import threading
import warnings
from dataclasses import dataclass
from pathlib import Path

from service.store.errors import StoreError
from service.store.files import beside, sync_folder
from service.wire.picture import MediaType, NotAPicture, Picture, only_the_picture

ENDING = ".photos"
SUFFIXES: dict[MediaType, str] = {"image/jpeg": ".jpg", "image/png": ".png"}
ROOM_KEPT_BYTES = 100_000_000
"""What a photo must leave free on the disk: readings come first, and need it for a day."""
PIXELS_MOST = 64_000_000
"""Of a JPEG, which is looked through at an eighth of its size; a PNG takes them all at once."""
PNG_PIXELS_MOST = 25_000_000

_looking = threading.Lock()
"""One picture is decoded at a time: each takes some ten megabytes and seconds of a small board."""


class NoRoom(StoreError):
    """The disk cannot take a photo."""


class NoPhoto(StoreError):
    """A photo's file is not there, or does not hold what its name says."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A photo's file."""

    sha256: str
    size_bytes: int
    media_type: MediaType


def taken(data: bytes) -> Picture:
    """The picture in an uploaded file, without what a camera adds, and looked through to its end.

    Raises:
        NotAPicture: It is no JPEG or PNG, not whole, or too large to be looked at.
    """
    picture = only_the_picture(data)
    with _looking:
        _look_through(picture)
    return picture


def _look_through(picture: Picture) -> None:
    """Decode it: what the browser will not show is not kept as a picture."""
    from PIL import Image, UnidentifiedImageError  # noqa: PLC0415 - not for a shop without photos

    kind = "JPEG" if picture.media_type == "image/jpeg" else "PNG"
    most = PIXELS_MOST if kind == "JPEG" else PNG_PIXELS_MOST
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # we have our own limit
            with Image.open(io.BytesIO(picture.data), formats=(kind,)) as image:
                width, height = image.size
                if width * height > most:
                    raise NotAPicture(
                        f"the {kind} picture is {width} × {height}: more than {most / 1e6:g} "
                        "million points"
                    )
                if kind == "JPEG":
                    image.draft("L", (max(width // 8, 1), max(height // 8, 1)))
                image.load()
    except NotAPicture:
        raise
    except UnidentifiedImageError as error:
        raise NotAPicture(f"the {kind} file holds no picture that can be shown") from error
    except Image.DecompressionBombError as error:
        words = f"the {kind} picture has more than {most / 1e6:g} million points"
        raise NotAPicture(words) from error
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        # What this library raises for damaged files, by its own documents.
        raise NotAPicture(f"the {kind} file is not whole: {error}") from error


class PhotoFolder:
    """The photos of one database.

    Args:
        database: The database's file.
    """

    def __init__(self, database: Path) -> None:
        self.path = beside(database, ENDING)

    def file_of(self, sha256: str, media_type: MediaType) -> Path:
        """Where a photo lies; its name is made of nothing but the digest."""
        return self.path / f"{sha256}{SUFFIXES[media_type]}"

    def keep(self, picture: Picture) -> Kept:
        """Put a picture on the disk: whole and for good, or not at all.

        Raises:
            NoRoom: The disk has too little room left.
            StoreError: It cannot be written.
        """
        sha256 = hashlib.sha256(picture.data).hexdigest()
        kept = Kept(sha256, len(picture.data), picture.media_type)
        target = self.file_of(sha256, picture.media_type)
        try:
            if _holds(target, sha256):
                return kept
            self.path.mkdir(exist_ok=True)
            if shutil.disk_usage(self.path).free < ROOM_KEPT_BYTES + len(picture.data):
                raise NoRoom(
                    f"the disk has less than {ROOM_KEPT_BYTES / 1e6:.0f} MB left, which the "
                    "readings need: the photo was not kept"
                )
            _write(target, picture.data)
        except OSError as error:
            if error.errno in (errno.ENOSPC, errno.EDQUOT):
                raise NoRoom("the disk is full: the photo was not kept") from error
            raise StoreError(
                f"the photo cannot be kept in {self.path}: {error.strerror}"
            ) from error
        return kept

    def read(self, sha256: str, media_type: MediaType) -> bytes:
        """A photo's bytes.

        Raises:
            NoPhoto: The file is not there, or is damaged.
        """
        target = self.file_of(sha256, media_type)
        try:
            data = target.read_bytes()
        except OSError as error:
            raise NoPhoto(f"the photo {target.name} cannot be read: {error.strerror}") from error
        if hashlib.sha256(data).hexdigest() != sha256:
            raise NoPhoto(f"the photo {target.name} is damaged: it is not what was kept")
        return data

    def files(self) -> list[Path]:
        """The photos that lie there, by name."""
        if not self.path.is_dir():
            return []
        return sorted(each for each in self.path.iterdir() if _is_name(each.name))

    def size_bytes(self) -> int:
        """Of all that lies there together."""
        return sum(each.stat().st_size for each in self.files())

    def copy_to(self, other: PhotoFolder) -> list[str]:
        """Bring every whole photo to another folder; what is there already stays.

        Returns:
            Names of those that are damaged here, which were left out.

        Raises:
            OSError: One cannot be written.
        """
        damaged = []
        for file in self.files():
            target = other.path / file.name
            if _holds(target, file.stem):
                continue
            data = file.read_bytes()
            if hashlib.sha256(data).hexdigest() != file.stem:
                damaged.append(file.name)
                continue
            other.path.mkdir(exist_ok=True)
            _write(target, data)
        return damaged


def _is_name(name: str) -> bool:
    stem, dot, suffix = name.partition(".")
    named = len(stem) == 64 and all(each in "0123456789abcdef" for each in stem)
    return named and f"{dot}{suffix}" in SUFFIXES.values()


def _holds(target: Path, sha256: str) -> bool:
    """Whether the file is there and holds what it is called by."""
    with contextlib.suppress(FileNotFoundError):
        return hashlib.sha256(target.read_bytes()).hexdigest() == sha256
    return False


def _write(target: Path, data: bytes) -> None:
    """Written, on the disk, and only then under its name."""
    part = target.with_name(f"{target.name}.{os.getpid()}-{threading.get_ident()}.part")
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
        sync_folder(target.parent)
        sync_folder(target.parent.parent)
    finally:
        part.unlink(missing_ok=True)
