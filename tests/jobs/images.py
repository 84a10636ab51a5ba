"""Photos as a phone makes them, for tests."""

import io

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

ORIENTATION = 0x0112
MAKER = 0x010F


def jpeg(name: str, size: tuple[int, int] = (320, 240), orientation: int = 1) -> SimpleUploadedFile:
    """Left half red, right half blue, with the orientation and a maker in its metadata."""
    image = Image.new("RGB", size, "blue")
    image.paste("red", (0, 0, size[0] // 2, size[1]))
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif[MAKER] = "a telltale maker"
    file = io.BytesIO()
    image.save(file, "JPEG", exif=exif, quality=95)
    return SimpleUploadedFile(name, file.getvalue(), "image/jpeg")


def png(name: str, mode: str = "RGBA") -> SimpleUploadedFile:
    file = io.BytesIO()
    Image.new(mode, (40, 30)).save(file, "PNG")
    return SimpleUploadedFile(name, file.getvalue(), "image/png")
