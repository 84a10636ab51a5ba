"""Responses of views: a form shown (again), a message that something was saved, a file."""

from typing import Any

from django.contrib import messages
from django.core.files import File
from django.db.models import Model, ProtectedError
from django.db.models.fields.files import FieldFile
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render

MAX_PK_DIGITS = 18  # more digits may exceed the database's integers


def post_data(request: HttpRequest) -> QueryDict | None:
    """Return the POST data (even if empty), or None for a GET request."""
    return request.POST if request.method == "POST" else None


def render_form(request: HttpRequest, template: str, form: BaseForm, **context: Any) -> HttpResponse:
    """Render the page of a form, with status 422 if it was submitted with errors."""
    return render(request, template, {"form": form, **context}, status=422 if form.is_bound else 200)


def flash_saved(request: HttpRequest, message: str, draft: str = "") -> None:
    """Flash a success message that lets the browser drop its draft of that name."""
    messages.success(request, message, extra_tags=f"draft-saved {draft}" if draft else "")


def remove_unless_in_use(
    request: HttpRequest, record: Model, *, in_use: str, list_url: str, edit_url: str
) -> HttpResponse:
    """Remove a row of a list of the shop, or say ``in_use`` if other records refer to it."""
    pk = record.pk
    try:
        record.delete()
    except ProtectedError:
        messages.error(request, in_use.format(record))
        return redirect(edit_url, pk)
    messages.success(request, f"“{record}” removed.")
    return redirect(list_url)


def csv_response(text: str, filename: str) -> HttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{filename}"'}
    return HttpResponse(text, content_type="text/csv; charset=utf-8", headers=headers)


def open_or_404(file: FieldFile, missing: str) -> File:
    """Open a stored file for a download; raises Http404 if it is missing or was never stored."""
    try:
        return file.open("rb")
    except (FileNotFoundError, ValueError) as problem:
        raise Http404(missing) from problem


def parse_pk(text: str) -> int:
    """Return a submitted primary key, or 0, which no record has, if it cannot be one."""
    return int(text) if text.isdecimal() and len(text) <= MAX_PK_DIGITS else 0
