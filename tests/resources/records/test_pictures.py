"""What is kept of a picture: its pixels, upright, and nothing that the camera or anybody else wrote beside them.

Markers after ITU-T T.81, orientations after Exif 2.32 (CIPA DC-008, tag 274), chunks after ISO/IEC 15948.
"""

from __future__ import annotations

import io
import threading
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms
from support.camera import BLUE, RED, announced_png, drawn, markers, photo

from service.errors import ServiceError, TooLarge, Unacceptable
from service.resources.records.photos import pictures
from service.resources.records.photos.pictures import MOST_PIXELS, picture_of, thumbnail_of

TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
APP0_JFIF = 0xE0
WITH_REMARKS = {*range(0xE1, 0xF0), 0xFE}  # APP1 to APP15 (Exif, profiles, ...) and COM


def opened(jpeg: bytes) -> Image.Image:
    return Image.open(io.BytesIO(jpeg), formats=("JPEG",))


def is_near(pixel: Any, colour: tuple[int, int, int]) -> bool:
    return max(abs(one - other) for one, other in zip(pixel, colour, strict=True)) <= 12


@pytest.mark.parametrize("form", TYPES)
def test_neither_place_nor_device_is_kept(form: str) -> None:
    sent = photo(form)
    assert b"SECRET-DEVICE" in sent  # else the check below could not fail
    kept = picture_of(sent, TYPES[form])
    assert b"SECRET" not in kept.jpeg
    assert not WITH_REMARKS & set(markers(kept.jpeg))
    assert (kept.width, kept.height) == (64, 48)
    assert is_near(opened(kept.jpeg).getpixel((30, 5)), RED)


@pytest.mark.parametrize(
    ("orientation", "size", "red"),
    [(1, (64, 48), (32, 2)), (3, (64, 48), (32, 45)), (6, (48, 64), (45, 32)), (8, (48, 64), (2, 32))],
)
def test_it_is_upright_as_the_camera_was_held(orientation: int, size: tuple[int, int], red: tuple[int, int]) -> None:
    """Exif tag 274: 1 as stored; 3 upside down; 6: the stored top is the right side; 8: it is the left side."""
    kept = picture_of(photo(orientation=orientation), "image/jpeg")
    assert (kept.width, kept.height) == size
    assert is_near(opened(kept.jpeg).getpixel(red), RED)


def test_what_is_appended_is_gone() -> None:
    kept = picture_of(photo() + b"<script>alert(1)</script>" * 20, "image/jpeg")
    assert b"script" not in kept.jpeg


def test_a_jpeg_with_further_pictures_behind_the_first_is_the_first() -> None:
    out = io.BytesIO()
    drawn().save(out, "MPO", save_all=True, append_images=[Image.new("RGB", (64, 48), "green")])
    kept = picture_of(out.getvalue(), "image/jpeg")
    assert is_near(opened(kept.jpeg).getpixel((30, 5)), RED)


def test_the_transparent_is_white_and_the_grey_stays_grey() -> None:
    for image, expected in (
        (Image.new("RGBA", (8, 8), (0, 0, 0, 0)), (255,) * 3),
        (Image.new("L", (8, 8), 90), (90,) * 3),
    ):
        out = io.BytesIO()
        image.save(out, "PNG")
        assert is_near(opened(picture_of(out.getvalue(), "image/png").jpeg).getpixel((4, 4)), expected)


def test_the_colours_are_those_the_profile_means() -> None:
    """The same XYZ colour, in a linear profile: 0.5 linear is 188 in sRGB (IEC 61966-2-1)."""
    linear = io.BytesIO()
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    image = Image.new("RGB", (8, 8), RED)
    image.save(linear, "PNG", icc_profile=profile.tobytes())
    assert is_near(opened(picture_of(linear.getvalue(), "image/png").jpeg).getpixel((4, 4)), RED)
    broken = io.BytesIO()
    image.save(broken, "PNG", icc_profile=b"no profile at all")
    assert is_near(opened(picture_of(broken.getvalue(), "image/png").jpeg).getpixel((4, 4)), RED)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"hello",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"<!doctype html><script>alert(1)</script>",
        b"GIF89a" + bytes(40),
        b"\xff\xd8\xff\xe0" + bytes(40),
        b"\x89PNG\r\n\x1a\n",
        b"RIFF\x24\x00\x00\x00WEBPVP8 ",
        b"%PDF-1.7\n",
    ],
)
@pytest.mark.parametrize("media_type", TYPES.values())
def test_what_is_no_picture_is_refused(content: bytes, media_type: str) -> None:
    with pytest.raises(Unacceptable):
        picture_of(content, media_type)


def test_another_kind_than_it_says_is_refused_and_named() -> None:
    with pytest.raises(Unacceptable, match="The bytes are image/png") as refusal:
        picture_of(photo("PNG"), "image/jpeg")
    assert (refusal.value.faults[0].pointer, refusal.value.faults[0].place) == ("Content-Type", "header")


@pytest.mark.parametrize("form", TYPES)
def test_one_that_is_cut_off_is_refused(form: str) -> None:
    whole = photo(form, image=Image.effect_noise((200, 200), 60).convert("RGB"))
    with pytest.raises(Unacceptable):
        picture_of(whole[: len(whole) * 2 // 3], TYPES[form])


def test_a_bomb_is_refused_before_a_pixel_is_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "_decoded", lambda _image: pytest.fail("it was decoded"))
    for width, height in ((5001, 5000), (100_000, 100_000), (16_001, 1)):
        with pytest.raises(TooLarge):
            picture_of(announced_png(width, height), "image/png")
    assert MOST_PIXELS == 5000 * 5000


def test_one_that_moves_and_one_of_sixteen_bits_are_refused() -> None:
    out = io.BytesIO()
    drawn().save(out, "PNG", save_all=True, append_images=[Image.new("RGB", (64, 48))])
    with pytest.raises(Unacceptable, match="moves"):
        picture_of(out.getvalue(), "image/png")
    out = io.BytesIO()
    Image.new("I;16", (8, 8), 40_000).save(out, "PNG")
    with pytest.raises(Unacceptable, match="8 bits"):
        picture_of(out.getvalue(), "image/png")


@pytest.mark.filterwarnings("ignore::UserWarning")  # the decoder's remarks on spoilt metadata, which is not kept
@settings(max_examples=150, deadline=None)
@given(form=st.sampled_from(sorted(TYPES)), place=st.integers(2, 10_000), byte=st.integers(0, 255), cut=st.booleans())
def test_a_spoilt_picture_is_kept_clean_or_refused_and_nothing_else(
    form: str, place: int, byte: int, cut: bool
) -> None:
    content = bytearray(photo(form))
    content[place % len(content)] = byte
    spoilt = bytes(content[: place % len(content)] if cut else content)
    try:
        kept = picture_of(spoilt, TYPES[form])
    except ServiceError:
        return
    opened(kept.jpeg).load()
    assert not WITH_REMARKS & set(markers(kept.jpeg))


def test_a_thumbnail_is_small_and_in_proportion() -> None:
    small = opened(thumbnail_of(picture_of(photo(image=drawn(1600, 1200)), "image/jpeg").jpeg))
    assert small.size == (320, 240)
    assert is_near(small.getpixel((160, 10)), RED)
    assert is_near(small.getpixel((160, 230)), BLUE)


def test_few_are_decoded_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A crowd that decodes 75 MB each at the same moment would take the machine's memory."""
    running, most, lock = 0, 0, threading.Lock()
    real = pictures._decoded

    def counted(image: Image.Image) -> Image.Image:
        nonlocal running, most
        with lock:
            running, most = running + 1, max(most, running + 1)
        try:
            return real(image)
        finally:
            with lock:
                running -= 1

    monkeypatch.setattr(pictures, "_decoded", counted)
    content = photo(image=drawn(800, 600))
    threads = [threading.Thread(target=picture_of, args=(content, "image/jpeg")) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert 1 <= most <= 2
