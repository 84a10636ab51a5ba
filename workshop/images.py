"""Uploaded pictures: truncated ones are refused, printed ones made small and freed of metadata."""

import base64
import io
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from threading import RLock
from typing import TYPE_CHECKING

from django.db.models.fields.files import FieldFile

if TYPE_CHECKING:
    from PIL import Image

# What Pillow raises for files that are not an image or are truncated.
IMAGE_ERRORS = (OSError, ValueError, SyntaxError, EOFError, IndexError, struct.error)

_lenience_lock = RLock()


@contextmanager
def require_complete_images() -> Iterator[None]:
    """Make Pillow refuse truncated images, which WeasyPrint, once imported, lets it accept.

    One thread at a time, since the setting belongs to the process.
    """
    from PIL import ImageFile

    with _lenience_lock:
        lenient = ImageFile.LOAD_TRUNCATED_IMAGES
        ImageFile.LOAD_TRUNCATED_IMAGES = False
        try:
            yield
        finally:
            ImageFile.LOAD_TRUNCATED_IMAGES = lenient


def small_image(stored: FieldFile, side: int) -> "Image.Image | None":
    """Return a stored picture upright, in sRGB, at most so many pixels a side; None if it cannot be read.

    A PDF/A takes colours without a profile of their own as those of its output intent, which is sRGB.
    """
    from PIL import Image, ImageOps

    try:
        with stored.open("rb") as file:
            opened = Image.open(file)
            profile = opened.info.get("icc_profile")
            opened.draft("RGB", (side, side))
            image = in_srgb(ImageOps.exif_transpose(opened), profile)
    except (FileNotFoundError, OSError, ValueError, Image.DecompressionBombError):
        return None
    image.thumbnail((side, side))
    return image


def in_srgb(image: "Image.Image", profile: bytes | None) -> "Image.Image":
    from PIL import ImageCms

    if profile and image.mode in ("RGB", "CMYK", "L"):
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        try:
            changed = ImageCms.profileToProfile(
                image, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
            )
        except ImageCms.PyCMSError:
            changed = None  # a profile that does not fit the picture says nothing about its colours
        if changed is not None:
            return changed
    return image.convert("RGBA" if "A" in image.mode or "transparency" in image.info else "RGB")


def strip_metadata(image: "Image.Image", kind: str, **how: int) -> str:
    """Return the pixels alone as base64, without camera, place and profile."""
    image.info.clear()
    out = io.BytesIO()
    image.save(out, kind, **how)
    return base64.b64encode(out.getvalue()).decode("ascii")
