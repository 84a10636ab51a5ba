"""Photos and the shop's logo on the sheet: upright, in sRGB, without metadata, and missed in words."""

import io
from base64 import b64decode
from typing import Any

import pikepdf
import pytest
from django.core.files.base import ContentFile
from PIL import Image, ImageCms

from jobs.models import Photo
from reports.handover.sheet import sheet_pdf
from tests import factories
from tests.jobs.images import jpeg
from tests.reports import whole_jobs
from tests.reports.conftest import stored_snapshot
from tests.reports.reading import elements, opened, squeezed, syntax_problems, whole_text
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(staff):
    whole_jobs.make_shop()
    return factories.make_job(brief="Look at the chain.")


def add_photo(job, staff, data: bytes, caption: str) -> Photo:
    photo = Photo(job=job, original_name="p.jpg", caption=caption, by=staff[Role.DESK])
    photo.image.save("p.jpg", ContentFile(data))
    photo.save()
    return photo


def snapshot_of(job, staff) -> dict[str, Any]:
    return stored_snapshot(job, staff[Role.OWNER])


def images(pdf: bytes) -> list[Any]:
    """Width, height and colour space of each picture of dots in the file."""
    with opened(pdf) as document:
        streams = (found for found in document.objects if isinstance(found, pikepdf.Stream))
        images = [stream for stream in streams if str(stream.get("/Subtype", "")) == "/Image"]
        return [(int(image.Width), int(image.Height), str(image.get("/ColorSpace", ""))) for image in images]


def smoothed_images(pdf: bytes) -> int:
    """Return how many pictures ask to be smoothed, which PDF/A forbids (ISO 19005-3, 6.2.8)."""
    with opened(pdf) as document:
        streams = (found for found in document.objects if isinstance(found, pikepdf.Stream))
        return sum(stream.get("/Interpolate") is True for stream in streams)


@pytest.mark.parametrize(
    "size", [(300, 1200), (1200, 300), (4000, 3000), (2, 2)], ids=["tall", "wide", "huge", "tiny"]
)
def test_photo_is_printed_with_caption(job, staff, size) -> None:
    add_photo(job, staff, jpeg("p.jpg", size).read(), "Scratch on the tank")
    add_photo(job, staff, b"no image", "")
    pdf = sheet_pdf(snapshot_of(job, staff))
    width, height, space = images(pdf)[0]
    assert max(width, height) <= 640
    assert width / height == pytest.approx(size[0] / size[1], rel=0.02)
    assert space == "/DeviceRGB"
    assert smoothed_images(pdf) == 0
    assert ("/Figure", "Photo: Scratch on the tank") in elements(pdf)
    assert squeezed("Scratch on the tank") in whole_text(pdf)
    assert squeezed("Photo 2, without a caption") in whole_text(pdf)
    assert "p.jpg" not in whole_text(pdf)
    assert syntax_problems(pdf) == ""


def test_photo_is_upright_and_without_metadata(job, staff) -> None:
    add_photo(job, staff, jpeg("p.jpg", (320, 240), orientation=6).read(), "As the phone held it")
    kept = b64decode(snapshot_of(job, staff)["brief"]["photos"][0]["jpeg_base64"])
    assert b"telltale" not in kept
    image = Image.open(io.BytesIO(kept))
    assert image.size == (240, 320)
    assert not image.getexif()
    red, _, blue = image.getpixel((120, 20))  # the left half, red, is on top when turned by a quarter
    assert red > 200
    assert blue < 60


def test_missing_photo_file_is_mentioned(job, staff) -> None:
    photo = add_photo(job, staff, jpeg("p.jpg").read(), "Dent in the rim")
    photo.image.storage.delete(photo.image.name)
    pdf = sheet_pdf(snapshot_of(job, staff))
    assert squeezed("the image file could not be read when this sheet was made") in whole_text(pdf)
    assert squeezed("Dent in the rim") in whole_text(pdf)


def set_logo(data: bytes, name: str) -> None:
    shop = whole_jobs.make_shop()
    shop.logo.save(name, ContentFile(data))


def saved(image: Image.Image, kind: str, **how: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


@pytest.mark.parametrize("size", [(3000, 120), (120, 3000), (4, 4)])
def test_logo_of_any_shape_is_printed(job, staff, size) -> None:
    set_logo(saved(Image.new("RGBA", size, (200, 0, 0, 128)), "PNG"), "logo.png")
    pdf = sheet_pdf(snapshot_of(job, staff))
    assert ("/Figure", "Logo of Saltmarsh Cycle Works") in elements(pdf)
    with opened(pdf) as document:
        assert str(document.Root.OutputIntents[0].S) == "/GTS_PDFA1"
    assert all(space == "/DeviceRGB" or space == "/DeviceGray" for _, _, space in images(pdf))


def test_cmyk_logo_is_converted_to_rgb(job, staff) -> None:
    set_logo(saved(Image.new("CMYK", (60, 40), (0, 255, 255, 0)), "JPEG"), "logo.jpg")
    assert [space for _, _, space in images(sheet_pdf(snapshot_of(job, staff)))] == ["/DeviceRGB"]


def test_logo_with_profile_keeps_its_colours(job, staff) -> None:
    """Grey stays grey, and the profile goes."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    set_logo(saved(Image.new("RGB", (8, 8), (120, 120, 120)), "PNG", icc_profile=profile), "logo.png")
    kept = Image.open(io.BytesIO(b64decode(snapshot_of(job, staff)["shop"]["logo"]["base64"])))
    assert "icc_profile" not in kept.info
    assert kept.getpixel((4, 4)) == pytest.approx((120, 120, 120), abs=1)


@pytest.mark.parametrize("data", [b"", b"not a picture"])
def test_unreadable_logo_is_left_out(job, staff, data) -> None:
    set_logo(data or saved(Image.new("RGB", (8, 8)), "PNG"), "logo.png")
    shop = whole_jobs.make_shop()
    if not data:
        shop.logo.storage.delete(shop.logo.name)
    assert snapshot_of(job, staff)["shop"]["logo"] is None
