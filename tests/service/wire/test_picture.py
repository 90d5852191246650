"""What a camera writes beside a picture is left out; checked with Pillow, which is not ours.

Layouts from ITU-T T.81 annex B, CIPA DC-008 (Exif) and ISO/IEC 15948 (PNG).
"""

from __future__ import annotations

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps, PngImagePlugin

from service.wire.picture import NotAPicture, only_the_picture

SECRETS = (b"Nowhere", b"52.5", b"SerialNumber", b"comment", b"<script", b"xmpmeta")


def image(mode: str = "RGB", size: tuple[int, int] = (48, 32)) -> Image.Image:
    drawn = Image.new("RGB", size)
    drawn.putdata(
        [(x * 5 % 256, y * 7 % 256, (x * y) % 256) for y in range(size[1]) for x in range(size[0])]
    )
    return drawn.convert(mode)


def jpeg(orientation: int = 6, mode: str = "RGB", **options: object) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "Nowhere Cameras"
    exif.get_ifd(0x8825).update({1: "N", 2: (52.5, 31.0, 0.0), 3: "E", 4: (13.4, 0.0, 0.0)})
    out = io.BytesIO()
    image(mode).save(
        out, "JPEG", exif=exif, comment=b"a comment", xmp=b"<x:xmpmeta SerialNumber='1'/>",
        icc_profile=b"profile" * 30, dpi=(300, 300), **options,
    )  # fmt: skip
    return out.getvalue()


def png(mode: str = "RGB") -> bytes:
    said = PngImagePlugin.PngInfo()
    said.add_text("Comment", "a comment")
    said.add_itxt("XML:com.adobe.xmp", "<x:xmpmeta SerialNumber='1'/>")
    exif = Image.Exif()
    exif[0x010F] = "Nowhere Cameras"
    out = io.BytesIO()
    image(mode).save(out, "PNG", pnginfo=said, exif=exif, icc_profile=b"profile" * 30)
    return out.getvalue()


FILM = b"\xff\xd8\xff\xe1\0\x10Nowhere<script>alert(1)</script>52.5"


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (jpeg(), "image/jpeg"),
        (jpeg(progressive=True), "image/jpeg"),
        (jpeg(mode="CMYK"), "image/jpeg"),
        (jpeg(mode="L", restart_marker_blocks=1), "image/jpeg"),
        (jpeg() + FILM, "image/jpeg"),
        (png(), "image/png"),
        (png("P"), "image/png"),
        (png("RGBA") + FILM, "image/png"),
    ],
)
def test_the_picture_stays_and_nothing_else(data: bytes, kind: str) -> None:
    picture = only_the_picture(data)
    assert picture.media_type == kind
    with Image.open(io.BytesIO(data)) as before, Image.open(io.BytesIO(picture.data)) as after:
        assert after.mode == before.mode
        assert ImageOps.exif_transpose(after).tobytes() == ImageOps.exif_transpose(before).tobytes()
        assert after.info.get("icc_profile") == before.info["icc_profile"]
        assert not after.getexif().get_ifd(0x8825)
    assert not any(secret in picture.data for secret in SECRETS)
    assert only_the_picture(picture.data) == picture


@pytest.mark.parametrize("orientation", range(1, 9))
def test_which_way_up_it_was_held_is_kept(orientation: int) -> None:
    with Image.open(io.BytesIO(only_the_picture(jpeg(orientation)).data)) as after:
        told = dict(after.getexif())
    assert told == ({} if orientation == 1 else {0x0112: orientation})


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "begins with nothing"),
        (b"<svg onload='alert(1)'/>", "<svg onload="),
        (b"<!DOCTYPE html><script>alert(1)</script>", "'<!DOCTYPE ht'"),
        (b"GIF89a\1\0\1\0", "neither JPEG nor PNG"),
        (b"RIFF\x10\0\0\0WEBPVP8 ", "neither JPEG nor PNG"),
        (b"\xff\xd8\xff", "ends after 3 bytes"),
        (b"\xff\xd8\xff\xd9", None),
        (b"\xff\xd8\xff\xe0\0\1", "within a segment"),
        (b"\x89PNG\r\n\x1a\n", "ends after 8 bytes"),
    ],
)
def test_what_is_no_picture_is_said(data: bytes, words: str | None) -> None:
    if words is None:
        assert only_the_picture(data).data == data  # empty: the decoder turns it down
        return
    with pytest.raises(NotAPicture) as refused:
        only_the_picture(data)
    assert words in str(refused.value)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([jpeg(), jpeg(progressive=True), png()]), st.data())
def test_half_a_file_is_refused(data: bytes, draw: st.DataObject) -> None:
    end = draw.draw(st.integers(0, len(data) - 1))
    with pytest.raises(NotAPicture):
        only_the_picture(data[:end])


@settings(max_examples=150, deadline=None)
@given(st.sampled_from([jpeg(), png()]), st.data())
def test_damage_is_refused_or_leaves_a_picture(data: bytes, draw: st.DataObject) -> None:
    changed = bytearray(data)
    for _ in range(draw.draw(st.integers(1, 4))):
        changed[draw.draw(st.integers(3, len(data) - 1))] = draw.draw(st.integers(0, 255))
    try:
        picture = only_the_picture(bytes(changed))
    except NotAPicture:
        return
    assert only_the_picture(picture.data) == picture
