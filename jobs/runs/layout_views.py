"""How files are read: naming the columns of a run's file, and the layouts that are remembered."""

import math
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.calc.run_file import ColumnView, FileLayoutSpec, StructureOverrides
from jobs.calc.units.numbers import format_digits
from jobs.models import FileLayout, Run
from jobs.runs.importing import Named, name_columns, original_of
from jobs.runs.layout_forms import (
    ColumnForm,
    FileLayoutForm,
    NameForm,
    StructureForm,
    choices_apart,
    column_forms,
    with_meanings,
)
from jobs.runs.layout_preview import (
    Look,
    found_layout,
    look_at,
    name_for,
    remembered_columns,
    same_columns,
    shape_of,
    stored_layout,
)
from jobs.runs.views import find_run
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role, StaleRecord
from workshop.records.responses import post_data, render_form
from workshop.units.display import NOT_MEASURED

LOOK_AGAIN = "There is something to look at: see the questions, then save again if all is right."


@dataclass
class LayoutPage:
    """What stands on the page: the forms, what is read with them, and what was missing to save."""

    structure: StructureForm
    look: Look
    columns: list[ColumnForm]
    name: NameForm
    problem: str = ""

    @property
    def rows(self) -> list[tuple[ColumnForm, ColumnView | None]]:
        views = self.look.preview.columns if self.look.preview else ()
        return [(form, views[i] if i < len(views) else None) for i, form in enumerate(self.columns)]

    @property
    def read_rows(self) -> list[tuple[int, list[str]]]:
        """Line and cells of the first rows, as they are read."""
        if self.look.preview is None:
            return []
        views, lines = self.look.preview.columns, self.look.preview.row_lines
        return [(line, [read_cell(view, at) for view in views]) for at, line in enumerate(lines)]

    @property
    def has_afr(self) -> bool:
        return any(form.meaning[1] == "afr" or form.initial.get("unit") == "afr" for form in self.columns)

    @property
    def is_valid(self) -> bool:
        parts = [self.structure, self.name, *self.columns]
        return self.look.layout is not None and all(part.is_valid() for part in parts)


def read_cell(view: ColumnView, row: int) -> str:
    """A figure as it is read; a cell that is none shows what stands there."""
    value = float(view.values[row])
    if math.isfinite(value):
        return format_digits(value)
    return f"– ({view.raw[row]})" if row < len(view.raw) and view.raw[row] else NOT_MEASURED


def page_of(run: Run, data: bytes, sent: QueryDict | None) -> LayoutPage:
    """The page as it is first shown, or as what was sent asks for it."""
    stored = stored_layout(run)
    if sent is None:
        apart = (
            choices_apart(stored, found_layout(data, run.original_name, StructureOverrides()))
            if stored
            else {}
        )
        structure = StructureForm(apart)
        structure.is_valid()
    else:
        structure = StructureForm(sent)
        if not structure.is_valid():
            nothing = Look(None, None, (), "Put the marked fields right to see what is read.")
            return LayoutPage(structure, nothing, [], NameForm(sent))
    columns: list[ColumnForm] = []

    def named(layout: FileLayoutSpec) -> FileLayoutSpec:
        in_place = sent if sent is not None and sent.get("shape") == shape_of(layout) else None
        known = layout if in_place else same_columns(layout, stored)
        columns[:] = column_forms(known, in_place)
        return with_meanings(known, columns) if in_place else known

    afr = structure.cleaned_data["stoichiometric_afr"]
    look = look_at(data, run.original_name, structure.overrides, afr, named)
    if look.layout:
        structure.tell_found(look.layout)
    name = NameForm(sent) if sent is not None else NameForm(initial={"name": name_for(run, look.layout)})
    return LayoutPage(structure, look, columns, name)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def run_layout(request: StaffRequest, pk: int) -> HttpResponse:
    """How the file of a run is read; ``look`` in what is sent asks only to see it, and saves nothing."""
    run = find_run(pk)
    try:
        data = original_of(run)
    except FileNotFoundError as problem:
        raise Http404("The original of this run is missing.") from problem
    sent = post_data(request)
    page = page_of(run, data, sent)
    if sent is None or "look" in sent:
        template = (
            "jobs/runs/_layout_preview.html" if request.headers.get("HX-Request") else "jobs/runs/layout.html"
        )
        return render(request, template, {"run": run, "job": run.job, "page": page})
    return save_layout(request, run, page, sent)


def save_layout(request: StaffRequest, run: Run, page: LayoutPage, sent: QueryDict) -> HttpResponse:
    page.problem = ready_to_save(page, sent)
    if not page.problem:
        assert page.look.layout is not None
        try:
            named = name_columns(run=run, layout=page.look.layout, remember_as=page.name.cleaned_data["name"])
        except StaleRecord:
            page.problem = "Somebody else saved this run meanwhile. Look at what is read, then save again."
        else:
            if named.intake.ok:
                tell(request, named)
                return redirect("run", run.pk)
            page.problem = named.intake.sentence
    context = {"run": run, "job": run.job, "page": page}
    return render(request, "jobs/runs/layout.html", context, status=422)


def ready_to_save(page: LayoutPage, sent: QueryDict) -> str:
    """Why the page is shown once more; empty where everything is named and every question was seen."""
    if page.look.layout is None or page.look.problem:
        return page.look.problem
    if sent.get("shape") != page.look.shape:
        return "The file is read in another way now: look at its columns, then save."
    if not page.is_valid:
        return "Put the marked fields right."
    if not any(form.meaning[0] for form in page.columns):
        return "Say of at least one column what it holds."
    asked = page.look.questions_seen
    return LOOK_AGAIN if asked and asked != sent.get("seen") else ""


def tell(request: StaffRequest, named: Named) -> None:
    messages.success(request, f"{named.intake.sentence} Files like it are read at once from now on.")
    for other in named.others:
        messages.success(request, other.sentence)


# --- remembered layouts


@staff
@require_safe
def layout_list(request: StaffRequest) -> HttpResponse:
    kept = FileLayout.objects.annotate(run_count=Count("runs"))
    rows = [(each, [column for column in remembered_columns(each) if column.channel]) for each in kept]
    context = {"layouts": rows, "can_write": request.user.holds(Role.TUNER)}
    return render(request, "jobs/runs/layout_list.html", context)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def layout_edit(request: StaffRequest, pk: int) -> HttpResponse:
    kept = get_object_or_404(FileLayout, pk=pk)
    sent = post_data(request)
    form = FileLayoutForm(sent, instance=kept)
    try:
        layout: FileLayoutSpec | None = FileLayoutSpec.from_dict(kept.layout)
    except ValueError:
        layout = None
    columns = column_forms(layout, sent) if layout else []
    if form.is_valid() and all(column.is_valid() for column in columns):
        if layout:
            kept.layout = with_meanings(layout, columns).confirmed().to_dict()
        if form.save_unless_stale():
            messages.success(
                request, f"The file layout “{kept}” is saved. Runs read before stay as they are."
            )
            return redirect("layout-list")
    context: dict[str, Any] = {"kept": kept, "columns": columns, "layout": layout}
    return render_form(request, "jobs/runs/layout_form.html", form, **context)


@roles(Role.TUNER)
@require_POST
def layout_remove(request: StaffRequest, pk: int) -> HttpResponse:
    kept = get_object_or_404(FileLayout, pk=pk)
    kept.delete()
    messages.success(request, f"“{kept}” is forgotten. Runs read with it stay as they are.")
    return redirect("layout-list")
