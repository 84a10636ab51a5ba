"""Uploaded pictures: truncated ones are refused."""

import struct
from collections.abc import Iterator
from contextlib import contextmanager

# What Pillow raises for files that are not an image or are truncated.
IMAGE_ERRORS = (OSError, ValueError, SyntaxError, EOFError, IndexError, struct.error)


@contextmanager
def require_complete_images() -> Iterator[None]:
    """Make Pillow refuse truncated images, which WeasyPrint, once imported, lets it accept."""
    from PIL import ImageFile

    lenient = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = lenient
