"""Photos of a job: add, show, edit, remove."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib import messages
from django.http import FileResponse, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.defaultfilters import pluralize
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.intake.forms import PhotoForm, PhotosForm
from jobs.intake.photos import PreparedPhoto, add_photos, remove_photo, stored_photos
from jobs.job.form_page import form_page, remove_button, section_url
from jobs.models import Job, Photo
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role
from workshop.records.responses import open_or_404, post_data
from workshop.records.submit_once import submit_once

ADDERS = (Role.DESK, Role.MECHANIC, Role.TUNER)


def store_photos_first(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Hand the view stored photos, so that none is decoded or written within its transaction.

    Decoding takes a third of a second a photo. Meanwhile a transaction would keep others from saving.
    """

    @wraps(view)
    def wrapper(request: StaffRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        with stored_photos(upload for upload in request.FILES.getlist("photos") if upload) as photos:
            return view(request, *args, photos=photos, **kwargs)

    return wrapper


@roles(*ADDERS)
@require_http_methods(["GET", "POST"])
@store_photos_first
@submit_once
def photo_add(request: StaffRequest, number: str, photos: list[PreparedPhoto]) -> HttpResponse:
    """Add photos: several at once, or one per request as the page's script sends them (JSON response)."""
    job = get_object_or_404(Job, number=number)
    form = PhotosForm(post_data(request), photos=photos)
    by_script = request.accepts("application/json") and not request.accepts("text/html")
    if form.is_valid():
        added = add_photos(
            job=job, by=request.user, photos=photos, caption=form.cleaned_data.get("caption", "")
        )
        if by_script:
            return JsonResponse({"ok": True, "message": "kept", "url": reverse("photo", args=[added[0].pk])})
        messages.success(request, f"Saved: {len(added)} photo{pluralize(len(added))}.")
        warn_of_problems(request, photos)
        return redirect(section_url(job, "brief"))
    if by_script:
        sentence = " ".join(str(error) for errors in form.errors.values() for error in errors)
        return JsonResponse({"ok": False, "message": sentence}, status=422)
    return form_page(
        request, form, job=job, title="Add photos", section="brief", template="jobs/intake/photo_add.html"
    )


def warn_of_problems(request: StaffRequest, photos: list[PreparedPhoto]) -> None:
    """Name the photos that are not kept, each with its reason."""
    if problems := [photo.problem for photo in photos if photo.problem]:
        messages.warning(request, f"Not saved: {' '.join(problems)}")


@staff
@require_safe
def photo(request: StaffRequest, pk: int) -> HttpResponseBase:
    photo = get_object_or_404(Photo, pk=pk)
    image = open_or_404(photo.image, "The image file of this photo is missing.")
    answer = FileResponse(image, content_type="image/jpeg")
    answer.headers["Cache-Control"] = "private, max-age=86400"
    return answer


@roles(*ADDERS)
@require_http_methods(["GET", "POST"])
def photo_edit(request: StaffRequest, pk: int) -> HttpResponse:
    photo = get_object_or_404(Photo.objects.select_related("job"), pk=pk)
    form = PhotoForm(post_data(request), instance=photo)
    if form.is_valid() and form.save_unless_stale():
        messages.success(request, "Photo saved.")
        return redirect(section_url(photo.job, "brief"))
    return form_page(
        request,
        form,
        job=photo.job,
        title="Photo",
        section="brief",
        template="jobs/intake/photo_edit.html",
        photo=photo,
        remove=remove_button(photo, "photo-remove", "Remove this photo"),
    )


@roles(*ADDERS)
@require_POST
def photo_remove(request: StaffRequest, pk: int) -> HttpResponse:
    photo = get_object_or_404(Photo.objects.select_related("job"), pk=pk)
    job = photo.job
    remove_photo(photo)
    messages.success(request, "Photo removed.")
    return redirect(section_url(job, "brief"))
