"""What is sent as a picture, taken apart and made anew: a JPEG of the pixels alone, upright, or a refusal.

Nothing of the file itself is kept. People's phones write the place and the device into a photo (EXIF), and a file can
be a picture and a page at once; pixels that were decoded and encoded again are neither.
"""

from __future__ import annotations

import hashlib
import io
import threading
import warnings
from dataclasses import dataclass

from PIL import Image, ImageCms, ImageOps

from service.errors import TooLarge
from service.resources.keeping.amounts import refused

MEDIA_TYPE = "image/jpeg"
FORMATS = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP"}
SEVERAL = "MPO"  # a JPEG with further pictures behind the first, as many phones write it: the first counts
MOST_PIXELS = 25_000_000  # decoded some 75 MB; twice what most phones take
LONGEST_SIDE = 16_000
QUALITY = 88
THUMBNAIL_SIDE, THUMBNAIL_QUALITY = 320, 80
EIGHT_BITS = {"1", "L", "LA", "P", "PA", "RGB", "RGBA", "RGBX", "La", "RGBa", "CMYK", "YCbCr"}
_DECODING = threading.BoundedSemaphore(2)  # a crowd of large pictures at once must not take the machine's memory


@dataclass(frozen=True)
class Picture:
    """A picture as it is kept."""

    jpeg: bytes
    width: int
    height: int

    @property
    def sha256(self) -> bytes:
        """SHA-256 of the bytes kept, 32 bytes."""
        return hashlib.sha256(self.jpeg).digest()


def picture_of(content: bytes, media_type: str) -> Picture:
    """The picture that was sent, its pixels upright in sRGB and nothing else.

    Raises Unacceptable for what is no JPEG, PNG or WebP, is another of them than `media_type` says, cannot be decoded
    to its end, moves, or has more than 8 bits a colour; TooLarge for more than 25 million pixels, none of them decoded.
    """
    with _DECODING, warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # the limit here is lower, and refuses
        with _opened(content, media_type) as image:
            _refuse_large(image)
            upright = _decoded(image)
        return Picture(_encoded(upright, QUALITY), upright.width, upright.height)


def thumbnail_of(jpeg: bytes) -> bytes:
    """A kept picture, small: at most 320 pixels a side, as JPEG. The decoder itself scales down, which is cheap."""
    with _DECODING, Image.open(io.BytesIO(jpeg), formats=("JPEG",)) as image:
        image.draft("RGB", (THUMBNAIL_SIDE, THUMBNAIL_SIDE))
        image.thumbnail((THUMBNAIL_SIDE, THUMBNAIL_SIDE))
        return _encoded(image.convert("RGB"), THUMBNAIL_QUALITY)


def _opened(content: bytes, media_type: str) -> Image.Image:
    """The picture with its head read and no pixel decoded; only these three decoders are ever tried."""
    try:
        image = Image.open(io.BytesIO(content), formats=tuple(FORMATS.values()))
    except Image.DecompressionBombError as error:
        raise _too_many_pixels() from error
    except Exception as error:  # a spoilt head makes a decoder raise almost anything, as spoilt pixels do
        detail = "This is no picture: a JPEG, PNG or WebP file is expected. Take the photo again, or convert it."
        raise refused("", detail) from error
    form = "JPEG" if image.format == SEVERAL else image.format
    if form != FORMATS[media_type]:
        named = next(name for name, each in FORMATS.items() if each == form)
        raise refused("Content-Type", f"The bytes are {named}. Send that as Content-Type.", media_type, place="header")
    return image


def _refuse_large(image: Image.Image) -> None:
    if image.width * image.height > MOST_PIXELS or max(image.size) > LONGEST_SIDE:
        raise _too_many_pixels()
    if getattr(image, "is_animated", False) and image.format != SEVERAL:
        raise refused("", "This picture moves. A still one is expected.")
    if image.mode not in EIGHT_BITS:
        raise refused("", "This picture has more than 8 bits a colour. Convert it to 8 bits.", image.mode)


def _decoded(image: Image.Image) -> Image.Image:
    """The pixels, turned as the camera says, in sRGB, on white where they were transparent."""
    try:
        image.load()
        upright = ImageOps.exif_transpose(image)
    except Exception as error:  # a spoilt file makes a decoder raise almost anything
        raise refused("", "This picture is damaged: it cannot be decoded to its end. Send it again.") from error
    return _on_white(_in_srgb(upright))


def _in_srgb(image: Image.Image) -> Image.Image:
    """Colours as every screen means them: the profile goes, so what it says must go into the pixels."""
    profile = image.info.get("icc_profile")
    if not profile or image.mode not in ("RGB", "RGBA"):
        return image
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        converted = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError):
        return image  # a profile that cannot be read says nothing: browsers show the pixels as they are, too
    return converted or image


def _on_white(image: Image.Image) -> Image.Image:
    if "A" not in image.getbands() and "transparency" not in image.info:
        return image.convert("RGB")
    ground = Image.new("RGBA", image.size, "white")
    ground.alpha_composite(image.convert("RGBA"))
    return ground.convert("RGB")


def _encoded(image: Image.Image, quality: int) -> bytes:
    """A baseline JPEG of the pixels. A fresh image carries no EXIF, profile or comment that could be written too."""
    bare = Image.new("RGB", image.size)
    bare.paste(image)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=quality)
    return out.getvalue()


def _too_many_pixels() -> TooLarge:
    detail = f"A picture of at most {MOST_PIXELS // 1_000_000} million pixels is expected, {LONGEST_SIDE} a side."
    return TooLarge(f"{detail} Make it smaller and send it again.")
