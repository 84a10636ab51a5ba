"""Photos: checked, turned upright, reduced and stripped of the camera's metadata."""

import io
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from jobs.calc.warning_filters import filter_warnings
from jobs.models import Job, Photo
from workshop.images import IMAGE_ERRORS, require_complete_images
from workshop.models import StaffMember

if TYPE_CHECKING:
    from PIL.Image import Image

MAX_SIDE_PX = 2048
READABLE = ("JPEG", "PNG", "WEBP", "GIF", "BMP")
MAX_NAME_LENGTH = 200
IMAGE: Any = Photo._meta.get_field("image")
# A JPEG is decoded at reduced size, other formats whole: four bytes a pixel, and several copies of them.
MAX_PIXELS, MAX_JPEG_PIXELS = 25_000_000, 180_000_000


@dataclass(frozen=True)
class PreparedPhoto:
    """A photo of an upload: the name of its stored file, or the sentence why there is none."""

    original_name: str
    image: str
    problem: str = ""


def short_name(upload: UploadedFile) -> str:
    return PurePath(upload.name or "photo").name[-MAX_NAME_LENGTH:]


def prepare_photo(upload: UploadedFile) -> "ContentFile[bytes]":
    """Return the upload as an upright JPEG of at most 2048 pixels, without metadata.

    Raises ValueError with a sentence that names the file if it is empty, too large or no image.
    """
    from PIL import Image, ImageOps

    name = short_name(upload)
    if not upload.size:
        raise ValueError(f"“{name}” is empty.")
    if upload.size > settings.PHOTO_LIMIT:
        limit = settings.PHOTO_LIMIT // (1024 * 1024)
        raise ValueError(f"“{name}” is larger than {limit} MB. Reduce it and choose it again.")
    try:
        image = open_photo(upload)
        image.draft("RGB", (MAX_SIDE_PX, MAX_SIDE_PX))
        with require_complete_images():
            return as_jpeg(ImageOps.exif_transpose(image))
    except Image.DecompressionBombError as problem:
        limits = f"{MAX_JPEG_PIXELS // 10**6} million in a JPEG, {MAX_PIXELS // 10**6} million in other files"
        raise ValueError(
            f"“{name}” has too many pixels (at most {limits}). Make it smaller and choose it again."
        ) from problem
    except IMAGE_ERRORS as problem:
        raise ValueError(f"“{name}” is not an image we can read. Use a JPEG, PNG or WebP file.") from problem


def open_photo(upload: UploadedFile) -> "Image":
    """Open the image without decoding it; raises DecompressionBombError for too many pixels."""
    from PIL import Image

    with filter_warnings("ignore", Image.DecompressionBombWarning):
        image = Image.open(upload, formats=READABLE)
    if image.width * image.height > (MAX_JPEG_PIXELS if image.format == "JPEG" else MAX_PIXELS):
        raise Image.DecompressionBombError("too many pixels")
    return image


def as_jpeg(image: "Image") -> "ContentFile[bytes]":
    from PIL import Image

    image.thumbnail((MAX_SIDE_PX, MAX_SIDE_PX))
    if image.mode != "RGB":
        on_white = Image.new("RGB", image.size, "white")
        with_alpha = image.convert("RGBA")
        on_white.paste(with_alpha, mask=with_alpha.getchannel("A"))
        image = on_white
    image.info.clear()
    stored = io.BytesIO()
    image.save(stored, "JPEG", quality=85, optimize=True)
    return ContentFile(stored.getvalue(), name=f"{uuid.uuid4().hex}.jpg")


@contextmanager
def stored_photos(uploads: Iterable[UploadedFile]) -> Iterator[list[PreparedPhoto]]:
    """Store the files of photos before the transaction that adds their rows.

    Each upload is prepared by itself: one that cannot be stored does not discard the others. A file that no
    row names in the end is removed again.
    """
    photos: list[PreparedPhoto] = []
    try:
        photos += (stored_or_problem(upload) for upload in uploads)
        yield photos
    finally:
        names = {photo.image for photo in photos if photo.image}
        kept = set(Photo.objects.filter(image__in=names).values_list("image", flat=True)) if names else set()
        for name in names - kept:
            IMAGE.storage.delete(name)


def stored_or_problem(upload: UploadedFile) -> PreparedPhoto:
    try:
        return store_photo(short_name(upload), prepare_photo(upload))
    except ValueError as problem:
        return PreparedPhoto(short_name(upload), "", str(problem))


def store_photo(original_name: str, image: "ContentFile[bytes]") -> PreparedPhoto:
    return PreparedPhoto(original_name, IMAGE.storage.save(IMAGE.generate_filename(None, image.name), image))


@transaction.atomic
def add_photos(
    *, job: Job, by: StaffMember, photos: Iterable[PreparedPhoto], caption: str = ""
) -> list[Photo]:
    """Store the photos that could be prepared."""
    return [
        Photo.objects.create(
            job=job, by=by, image=photo.image, original_name=photo.original_name, caption=caption
        )
        for photo in photos
        if photo.image
    ]


@transaction.atomic
def remove_photo(photo: Photo) -> None:
    """Delete the photo, and its file once the deletion is committed."""
    storage, name = photo.image.storage, photo.image.name or ""
    photo.delete()
    transaction.on_commit(lambda: storage.delete(name))
