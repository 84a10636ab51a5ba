"""Photos: validated, rotated, reduced, without metadata, and served to staff only."""

import io
import uuid
from pathlib import Path

import pytest
from django.contrib.messages import get_messages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image, ImageFile

from jobs.intake import photos
from jobs.intake.photos import prepare_photo
from jobs.models import Photo
from tests.factories import make_job
from tests.jobs.images import jpeg, png
from tests.transactions import watch_transactions
from workshop.models import Role
from workshop.stored_files import WholeFileStorage

pytestmark = pytest.mark.django_db


def open_prepared(upload: SimpleUploadedFile) -> Image.Image:
    return Image.open(io.BytesIO(prepare_photo(upload).read()))


def test_rotated_photo_is_turned_upright() -> None:
    # Orientation 6 is a quarter turn to the right: the left (red) half moves to the top.
    image = open_prepared(jpeg("side.jpg", (320, 240), orientation=6))
    assert image.size == (240, 320)
    red, _, blue = image.getpixel((120, 40))
    assert red > 200 > 100 > blue


def test_photo_metadata_is_removed() -> None:
    upload = jpeg("a.jpg")
    assert b"telltale" in upload.read()
    upload.seek(0)
    prepared = prepare_photo(upload).read()
    assert b"telltale" not in prepared
    assert not Image.open(io.BytesIO(prepared)).getexif()


def test_large_photo_is_reduced_with_its_aspect_ratio() -> None:
    assert open_prepared(jpeg("big.jpg", (4096, 1024))).size == (2048, 512)


def test_small_photo_keeps_its_size() -> None:
    assert open_prepared(jpeg("small.jpg", (320, 240))).size == (320, 240)


@pytest.mark.parametrize("mode", ["RGBA", "LA", "L", "P", "1", "RGB", "I;16"])
def test_all_png_modes_are_accepted(mode) -> None:
    image = open_prepared(png("picture.png", mode))
    assert (image.format, image.mode, image.size) == ("JPEG", "RGB", (40, 30))


def make_truncated_photo() -> bytes:
    whole = jpeg("whole.jpg", (800, 600)).read()
    return whole[: len(whole) // 2]


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "“a photo.jpg” is empty."),
        (b"time;rpm\n0;1000\n", "“a photo.jpg” is not an image we can read."),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "“a photo.jpg” is not an image we can read."),
        (make_truncated_photo, "“a photo.jpg” is not an image we can read."),
    ],
)
def test_invalid_file_is_rejected_by_name(content, sentence) -> None:
    data = content() if callable(content) else content
    with pytest.raises(ValueError, match=sentence):
        prepare_photo(SimpleUploadedFile("a photo.jpg", data))


def test_truncated_photo_is_rejected_even_if_pillow_is_lenient(monkeypatch) -> None:
    """Printing loads a library that makes Pillow lenient for the whole process."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    with pytest.raises(ValueError, match="is not an image we can read"):
        prepare_photo(SimpleUploadedFile("half.jpg", make_truncated_photo()))
    assert ImageFile.LOAD_TRUNCATED_IMAGES


def test_photo_over_the_size_limit_is_rejected(settings) -> None:
    settings.PHOTO_LIMIT = 1000
    with pytest.raises(ValueError, match=r"“a\.jpg” is larger than"):
        prepare_photo(jpeg("a.jpg"))


@pytest.mark.parametrize(("kind", "side"), [("PNG", 40), ("JPEG", 50)])
def test_photo_with_too_many_pixels_is_rejected(monkeypatch, kind: str, side: int) -> None:
    # A PNG is decoded whole before it is reduced, so it may have fewer pixels than a JPEG.
    monkeypatch.setattr(photos, "MAX_PIXELS", 1000)
    monkeypatch.setattr(photos, "MAX_JPEG_PIXELS", 2000)
    file = io.BytesIO()
    Image.new("RGB", (side, side)).save(file, kind)
    with pytest.raises(ValueError, match=r"“a\.jpg” has too many pixels"):
        prepare_photo(SimpleUploadedFile("a.jpg", file.getvalue()))


def test_photo_of_100_megapixels_is_accepted() -> None:
    file = io.BytesIO()
    Image.new("L", (12_000, 9_000), 90).save(file, "JPEG")  # 108 megapixels, as phones produce
    prepared = open_prepared(SimpleUploadedFile("IMG_0108.jpg", file.getvalue()))
    assert prepared.size == (2048, 1536)


@pytest.mark.parametrize("kind", ["WEBP", "PNG", "GIF"])
def test_small_file_of_many_pixels_is_rejected_before_it_is_decoded(kind: str, monkeypatch) -> None:
    """A WebP of 144 kB took 1.4 GB and 8 s to decode."""
    file = io.BytesIO()
    Image.new("L", (6_000, 5_000), 90).save(file, kind)
    monkeypatch.setattr(Image.Image, "load", lambda *args: pytest.fail("was decoded"))
    with pytest.raises(ValueError, match="has too many pixels"):
        prepare_photo(SimpleUploadedFile("a.img", file.getvalue()))


def add(client, job, files, **more):
    return client.post(reverse("photo-add", args=[job]), {"photos": files, **more})


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC, Role.TUNER])
def test_all_workshop_roles_add_several_photos_at_once(login, staff, role) -> None:
    job = make_job()
    response = add(login(role), job, [jpeg("a.jpg"), jpeg("b.jpg")], caption="left side")
    assert response.status_code == 302
    assert [(p.original_name, p.caption, p.by) for p in Photo.objects.all()] == [
        ("a.jpg", "left side", staff[role]),
        ("b.jpg", "left side", staff[role]),
    ]


def test_photos_sent_one_by_one_are_added(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    url = reverse("photo-add", args=[job])
    good = client.post(url, {"photos": [jpeg("a.jpg")]}, headers={"accept": "application/json"})
    assert good.json()["ok"] is True
    bad = client.post(
        url, {"photos": [SimpleUploadedFile("b.jpg", b"x")]}, headers={"accept": "application/json"}
    )
    assert bad.status_code == 422
    assert bad.json()["ok"] is False
    assert "“b.jpg”" in bad.json()["message"]
    assert Photo.objects.get().original_name == "a.jpg"


def test_one_invalid_photo_does_not_discard_the_others(login) -> None:
    job = make_job()
    bad = SimpleUploadedFile("b.jpg", b"x")
    response = add(login(Role.DESK), job, [jpeg("a.jpg"), bad, jpeg("c.jpg")])
    assert response.status_code == 302
    assert [photo.original_name for photo in Photo.objects.all()] == ["a.jpg", "c.jpg"]
    assert [str(message) for message in get_messages(response.wsgi_request)] == [
        "Saved: 2 photos.",
        "Not saved: “b.jpg” is not an image we can read. Use a JPEG, PNG or WebP file.",
    ]


@pytest.mark.parametrize("address", ["photo-add", "job-receive"])
def test_no_photo_is_decoded_or_written_within_a_transaction(
    login, monkeypatch, address: str, transactional_db
) -> None:
    job, client = make_job(), login(Role.DESK)
    within = watch_transactions(monkeypatch, photos, "prepare_photo")
    within_write = watch_transactions(monkeypatch, WholeFileStorage, "_save")
    data = {"photos": [jpeg("a.jpg"), jpeg("b.jpg")], "form_key": str(uuid.uuid4()), "version": job.version}
    assert client.post(reverse(address, args=[job]), data).status_code == 302
    assert (within, within_write) == ([False, False], [False, False])
    assert Photo.objects.count() == 2


def test_photos_of_a_refused_form_leave_no_file(login, settings) -> None:
    job, client = make_job(), login(Role.DESK)
    refused = {"photos": [jpeg("a.jpg")], "version": job.version, "odometer_km": "as before"}
    assert client.post(reverse("job-receive", args=[job]), refused).status_code == 422
    assert not [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


def test_missing_photo_shows_error_at_the_field(login) -> None:
    response = add(login(Role.DESK), make_job(), [])
    assert response.status_code == 422
    assert "Choose at least one photo." in response.content.decode()


def test_repeated_submission_adds_photos_once(login, settings) -> None:
    job = make_job()
    client = login(Role.DESK)
    key = str(uuid.uuid4())
    add(client, job, [jpeg("a.jpg")], form_key=key)
    add(client, job, [jpeg("a.jpg")], form_key=key)
    assert Photo.objects.count() == 1
    assert len([path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]) == 1


@pytest.fixture
def photo(login) -> Photo:
    add(login(Role.DESK), make_job(), [jpeg("a.jpg")])
    return Photo.objects.get()


def test_photo_requires_login(login, client, photo) -> None:
    url = reverse("photo", args=[photo.pk])
    response = login(Role.TUNER).get(url)
    image = Image.open(io.BytesIO(b"".join(response.streaming_content)))
    assert image.format == "JPEG"
    assert response.headers["Content-Type"] == "image/jpeg"
    assert client.get(url).status_code == 302
    assert client.get(f"/{photo.image.name}").status_code in (302, 404)


def test_photo_with_missing_file_returns_404(login, photo) -> None:
    photo.image.storage.delete(photo.image.name)
    assert login(Role.DESK).get(reverse("photo", args=[photo.pk])).status_code == 404


def test_photo_caption_becomes_its_alt_text(login, photo) -> None:
    url = reverse("photo-edit", args=[photo.pk])
    client = login(Role.DESK)
    assert client.post(url, {"caption": "dent", "version": photo.version}).status_code == 302
    page = client.get(reverse("job", args=[photo.job]), {"open": "all"}).content.decode()
    assert 'alt="dent"' in page


def test_removed_photo_deletes_its_file(login, photo, django_capture_on_commit_callbacks) -> None:
    storage, name = photo.image.storage, photo.image.name
    assert storage.exists(name)
    with django_capture_on_commit_callbacks(execute=True):
        response = login(Role.DESK).post(reverse("photo-remove", args=[photo.pk]))
    assert response.status_code == 302
    assert not Photo.objects.exists()
    assert not storage.exists(name)


def test_unknown_photo_returns_404(login) -> None:
    client = login(Role.DESK)
    assert client.get(reverse("photo", args=[99])).status_code == 404
    assert client.post(reverse("photo-remove", args=[99])).status_code == 404
    assert add(client, "2026-999", [jpeg("a.jpg")]).status_code == 404
