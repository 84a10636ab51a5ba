"""Pages of the engine library: list, one engine, import and export."""

import base64

from django.db.models import Count, Q, QuerySet
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
from workshop.records.lists import ListColumn, list_headings, list_page, search_text, sort_rows
from workshop.records.responses import csv_response, flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once

NOTHING_SENT = "Choose a CSV file that is not empty."
ROWS_REFUSED = "Nothing was saved. Fix the errors listed below and upload the file again."
LIBRARY_CHANGED = (
    "Nothing was saved. The library has changed since this preview. Check the new preview below and save "
    "again."
)


SORTABLE = (
    ListColumn("engine", "Engine", ("maker", "name")),
    ListColumn("cylinders", "Cylinders", ("cylinders", "arrangement")),
    ListColumn("adjuster", "Adjuster", ("adjuster",)),
    ListColumn("bikes", "Bikes", ("bike_count",)),
    ListColumn("source", "Source", ("source_manual",)),
)


def listed_engines(request: StaffRequest) -> "QuerySet[EngineSpec]":
    """Return the engines that the address asks for, in its order."""
    engines = EngineSpec.objects.annotate(bike_count=Count("bikes")).order_by("maker", "name")
    for word in search_text(request).split():
        engines = engines.filter(Q(maker__icontains=word) | Q(name__icontains=word))
    adjuster = request.GET.get("adjuster", "")
    if adjuster in EngineSpec.Adjuster.values:
        engines = engines.filter(adjuster=adjuster)
    return sort_rows(request, engines, SORTABLE)


@staff
@require_safe
def engine_list(request: StaffRequest) -> HttpResponse:
    page = list_page(request, listed_engines(request))
    adjuster = search_text(request, "adjuster")
    context = {
        "page": page,
        "wanted": search_text(request),
        "adjuster": adjuster,
        "filter_count": int(bool(adjuster)),
        "adjusters": EngineSpec.Adjuster.choices,
        "any_engine": bool(page.paginator.count) or EngineSpec.objects.exists(),
        "headings": list_headings(request, SORTABLE),
    }
    return render(request, "workshop/engines/list.html", context)


@staff
@require_safe
def engine(request: StaffRequest, pk: int) -> HttpResponse:
    engine = get_object_or_404(EngineSpec, pk=pk)
    bikes = engine.bikes.select_related("owner")
    return render(request, "workshop/engines/detail.html", {"engine": engine, "bikes": bikes})


@owner_only
@require_safe
def engine_export(request: StaffRequest) -> HttpResponse:
    """Return the engines that the list shows, all pages of it, as a file that can be imported again."""
    return csv_response(engines_csv(listed_engines(request)), "engines.csv")


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
        flash_saved(request, f"{engine} added.", "engine-new")
        return redirect("engine", engine.pk)
    return render_form(request, "workshop/engines/form.html", form)


@owner_only
@require_http_methods(["GET", "POST"])
def engine_edit(request: StaffRequest, pk: int) -> HttpResponse:
    engine = get_object_or_404(EngineSpec, pk=pk)
    form = EngineForm(post_data(request), instance=engine, length_unit=request.shop.length_unit)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{engine} saved.", f"engine-{pk}")
        return redirect("engine", pk)
    return render_form(request, "workshop/engines/form.html", form, engine=EngineSpec.objects.get(pk=pk))
