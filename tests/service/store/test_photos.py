"""Photos on the disk: whole or not at all, under the name of what they hold."""

from __future__ import annotations

import hashlib
import io
import struct
import threading
import zlib
from pathlib import Path

import pytest
from PIL import Image

from service.store import photos
from service.store.errors import StoreError
from service.store.photos import NoPhoto, NoRoom, PhotoFolder, taken
from service.wire.picture import NotAPicture


def picture(kind: str = "JPEG", size: tuple[int, int] = (64, 48)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (180, 120, 60)).save(out, kind)
    return out.getvalue()


@pytest.fixture
def folder(tmp_path: Path) -> PhotoFolder:
    return PhotoFolder(tmp_path / "shop.db")


def test_it_is_kept_once_and_read_back(folder: PhotoFolder) -> None:
    for kind, suffix in (("JPEG", "jpg"), ("PNG", "png")):
        found = taken(picture(kind))
        kept = folder.keep(found)
        assert kept == folder.keep(found)
        assert kept.sha256 == hashlib.sha256(found.data).hexdigest()
        assert (folder.path / f"{kept.sha256}.{suffix}").read_bytes() == found.data
        assert folder.read(kept.sha256, kept.media_type) == found.data
    assert len(list(folder.path.iterdir())) == 2


def test_a_full_disk_keeps_nothing_and_says_so(
    folder: PhotoFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_fd: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(photos.os, "fsync", full)
        with pytest.raises(NoRoom, match="the disk is full"):
            folder.keep(taken(picture()))
    assert list(folder.path.iterdir()) == []
    with monkeypatch.context() as patched:
        patched.setattr(photos.shutil, "disk_usage", lambda _: type("U", (), {"free": 100_000_000}))
        with pytest.raises(NoRoom, match="100 MB left, which the readings need"):
            folder.keep(taken(picture()))
    assert list(folder.path.iterdir()) == []
    folder.keep(taken(picture()))
    assert len(folder.files()) == 1


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    folder = PhotoFolder(tmp_path / "shop.db")
    folder.path.write_text("a file is in the way")
    with pytest.raises(StoreError, match="cannot be kept"):
        folder.keep(taken(picture()))


def test_a_damaged_file_is_found_and_mended_by_the_same_picture(folder: PhotoFolder) -> None:
    found = taken(picture())
    kept = folder.keep(found)
    file = folder.file_of(kept.sha256, kept.media_type)
    file.write_bytes(found.data[:-5])
    with pytest.raises(NoPhoto, match="is damaged"):
        folder.read(kept.sha256, kept.media_type)
    folder.keep(found)
    assert folder.read(kept.sha256, kept.media_type) == found.data
    file.unlink()
    with pytest.raises(NoPhoto, match="cannot be read"):
        folder.read(kept.sha256, kept.media_type)


def test_many_at_once_are_all_there(folder: PhotoFolder) -> None:
    pictures = [taken(picture(size=(16 + n % 4, 16))) for n in range(12)]
    threads = [threading.Thread(target=folder.keep, args=(each,)) for each in pictures]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert sorted(file.read_bytes() for file in folder.path.iterdir()) == sorted(
        {each.data for each in pictures}
    )


def test_a_copy_leaves_out_what_is_damaged_and_foreign(folder: PhotoFolder, tmp_path: Path) -> None:
    good, bad = folder.keep(taken(picture())), folder.keep(taken(picture("PNG")))
    folder.file_of(bad.sha256, bad.media_type).write_bytes(b"something else")
    (folder.path / "../notes.txt").write_text("not ours")
    (folder.path / "notes.jpg").write_text("not ours")
    (folder.path / f"{good.sha256}.jpg.1-2.part").write_bytes(b"half")
    other = PhotoFolder(tmp_path / "copy.db")
    assert folder.copy_to(other) == [f"{bad.sha256}.png"]
    assert [each.name for each in other.files()] == [f"{good.sha256}.jpg"]
    assert folder.copy_to(other) == [f"{bad.sha256}.png"]


def bomb() -> bytes:
    """A PNG of 30,000 × 30,000 points in a few bytes (ISO/IEC 15948)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", 30_000, 30_000, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 999))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (picture("PNG", (5001, 5000)), "5001 × 5000: more than 25 million points"),
        (bomb(), "more than 25 million points"),
        (picture("PNG", (40, 40))[:60] + picture("PNG", (40, 40))[-12:], "before its picture does"),
        (b"\xff\xd8\xff\xd9", "no picture that can be shown"),
        (b"\xff\xd8\xff\xe0\0\x10JFIF\0\1\1\0\0\1\0\1\0\0<script>\xff\xd9", "not a marker"),
    ],
)
def test_what_cannot_be_shown_is_turned_down(data: bytes, words: str) -> None:
    with pytest.raises(NotAPicture, match=words):
        taken(data)
