"""Pages of the engine library: list, one engine, import and export."""

import base64

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from workshop.access.roles import StaffRequest, owner_only, staff
from workshop.engines.engine_file import (
    COLUMNS,
    MAX_BYTES,
    EngineImport,
    UnreadableFile,
    decode_file,
    engines_csv,
    read_engines,
    save_engines,
)
from workshop.engines.forms import EngineForm
from workshop.models import EngineSpec, StaleRecord
from workshop.records.responses import csv_response, flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once

NOTHING_SENT = "Choose a CSV file; this one is empty or none was sent."
ROWS_REFUSED = "Nothing was saved: put right what is listed below in the file, and send it again."
LIBRARY_CHANGED = (
    "Nothing was saved: the library has changed since this was shown. Look at the list made afresh below, "
    "and save again."
)


@staff
@require_safe
def engine_list(request: StaffRequest) -> HttpResponse:
    engines = EngineSpec.objects.annotate(bike_count=Count("bikes"))
    return render(request, "workshop/engines/list.html", {"engines": engines})


@staff
@require_safe
def engine(request: StaffRequest, pk: int) -> HttpResponse:
    engine = get_object_or_404(EngineSpec, pk=pk)
    bikes = engine.bikes.select_related("owner")
    return render(request, "workshop/engines/detail.html", {"engine": engine, "bikes": bikes})


@owner_only
@require_safe
def engine_export(request: StaffRequest) -> HttpResponse:
    return csv_response(engines_csv(EngineSpec.objects.all()), "engines.csv")


def render_import(
    request: StaffRequest, *, text: str = "", read: EngineImport | None = None, refusal: str = ""
) -> HttpResponse:
    # Base64, since a submitted form alters the line endings within a note.
    carried = base64.b64encode(text.encode()).decode()
    context = {"carried": carried, "read": read, "refusal": refusal, "columns": COLUMNS}
    return render(request, "workshop/engines/import.html", context, status=422 if refusal else 200)


def reupload_content(request: StaffRequest) -> bytes:
    """Return the file's content as the preview page carried it along."""
    try:
        return base64.b64decode(request.POST.get("carried", ""), validate=True)
    except ValueError:
        return b""


@owner_only
@require_http_methods(["GET", "POST"])
@submit_once
def engine_import(request: StaffRequest) -> HttpResponse:
    """Preview a file, and save it when it is submitted again unchanged."""
    if request.method != "POST":
        return render_import(request)
    shown, sent = request.POST.get("fingerprint", ""), request.FILES.get("file")
    try:
        text = decode_file(sent.read(MAX_BYTES + 1) if sent else reupload_content(request))
        if not text.strip():
            return render_import(request, refusal=NOTHING_SENT)
        read = read_engines(text)
    except UnreadableFile as problem:
        return render_import(request, refusal=str(problem))
    if read.errors:
        return render_import(request, text=text, read=read, refusal=ROWS_REFUSED)
    if not shown:
        return render_import(request, text=text, read=read)
    try:
        if shown == read.fingerprint:
            count = save_engines(read)
            flash_saved(request, f"{count} engine{'' if count == 1 else 's'} saved from the file.")
            return redirect("engine-list")
    except StaleRecord:
        pass
    return render_import(request, text=text, read=read_engines(text), refusal=LIBRARY_CHANGED)


@owner_only
@require_http_methods(["GET", "POST"])
@submit_once
def engine_new(request: StaffRequest) -> HttpResponse:
    form = EngineForm(post_data(request), length_unit=request.shop.length_unit)
    if form.is_valid():
        engine = form.save()
        flash_saved(request, f"{engine} is in the library.", "engine-new")
        return redirect("engine", engine.pk)
    return render_form(request, "workshop/engines/form.html", form)


@owner_only
@require_http_methods(["GET", "POST"])
def engine_edit(request: StaffRequest, pk: int) -> HttpResponse:
    engine = get_object_or_404(EngineSpec, pk=pk)
    form = EngineForm(post_data(request), instance=engine, length_unit=request.shop.length_unit)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{engine} is saved.", f"engine-{pk}")
        return redirect("engine", pk)
    return render_form(request, "workshop/engines/form.html", form, engine=EngineSpec.objects.get(pk=pk))
