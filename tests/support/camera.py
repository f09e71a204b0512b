"""Pictures as cameras and people make them, honest and hostile, and a reader of JPEG markers of our own."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

from PIL import Image

PLACE = {1: "N", 2: (59.0, 54.0, 30.0), 3: "E", 4: (10.0, 44.0, 20.0)}  # GPS tags of Exif 2.32 (CIPA DC-008)
MAKER, ORIENTATION, GPS = 0x010F, 0x0112, 0x8825
RED, BLUE = (200, 30, 30), (30, 30, 200)


def drawn(width: int = 64, height: int = 48) -> Image.Image:
    """A picture whose top half is red and whose bottom half is blue."""
    image = Image.new("RGB", (width, height), BLUE)
    image.paste(RED, (0, 0, width, height // 2))
    return image


def photo(form: str = "JPEG", *, orientation: int = 1, image: Image.Image | None = None, **options: Any) -> bytes:
    """The file that a phone writes: with its maker, the place, and how it was held."""
    exif = Image.Exif()
    exif[MAKER] = "SECRET-DEVICE"
    exif[ORIENTATION] = orientation
    exif.get_ifd(GPS).update(PLACE)
    out = io.BytesIO()
    (image or drawn()).save(out, form, exif=exif, **options)
    return out.getvalue()


def announced_png(width: int, height: int) -> bytes:
    """A PNG of a few bytes that announces so many pixels (chunks as of ISO/IEC 15948, 5.3)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 64)) + chunk(b"IEND", b"")


def markers(jpeg: bytes) -> list[int]:
    """The second bytes of the markers of a JPEG up to its scan (ITU-T T.81, annex B.1.1): 0xE1 is where Exif stands."""
    assert jpeg[:2] == b"\xff\xd8", "no start of image"
    found, place = [], 2
    while True:
        assert jpeg[place] == 0xFF
        found.append(jpeg[place + 1])
        if jpeg[place + 1] == 0xDA:
            return found
        place += 2 + int(struct.unpack(">H", jpeg[place + 2 : place + 4])[0])
