"""Pictures that somebody sends: read to their end, and refused where half of one is missing."""

import struct
from collections.abc import Iterator
from contextlib import contextmanager

# What Pillow raises on files that are no image, or only the half of one
BROKEN = (OSError, ValueError, SyntaxError, EOFError, IndexError, struct.error)


@contextmanager
def whole_images_only() -> Iterator[None]:
    """WeasyPrint, once it is loaded, lets Pillow fill up images whose end is missing; they are refused."""
    from PIL import ImageFile

    lenient = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = lenient
