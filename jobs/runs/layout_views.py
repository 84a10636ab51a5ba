"""Name the columns of run files and manage the remembered layouts."""

import math
from dataclasses import dataclass, replace
from typing import Any

from django.contrib import messages
from django.db.models import Count, QuerySet
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.calc.run_file import ColumnView, FileLayoutSpec, StatedCorrection, StructureOverrides
from jobs.calc.run_file.proposals import propose_name
from jobs.calc.units.numbers import format_digits
from jobs.models import FileLayout, Run
from jobs.runs.importing import NamingResult, Outcome, name_columns, read_original, same_meaning
from jobs.runs.layout_forms import (
    ColumnForm,
    CorrectionForm,
    FileLayoutForm,
    KindForm,
    NameForm,
    PullsForm,
    StructureForm,
    column_forms,
    manual_overrides,
    with_meanings,
)
from jobs.runs.layout_preview import (
    LayoutPreview,
    default_name,
    found_layout,
    layout_for_file,
    layout_signature,
    preview_layout,
    remembered_columns,
    remembered_layout,
    same_columns,
    stored_layout,
)
from jobs.runs.views import find_run
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role, StaleRecord
from workshop.records.lists import ListColumn, list_headings, list_page, search_text, sort_rows
from workshop.records.responses import post_data, render_form
from workshop.units.display import NOT_MEASURED

LAYOUT_COLUMNS = (
    ListColumn("name", "Name", ("name",)),
    ListColumn("runs", "Runs", ("run_count", "name")),
    ListColumn("saved", "Saved", ("updated_at",)),
    ListColumn("columns", "Columns read"),
)
LAYOUT_USES = {"": "any", "used": "read runs of this shop", "unused": "no runs"}
OUTDATED = (
    "Not saved: someone else has changed the layout of these files in the meantime. This page now "
    "shows the stored layout. Check it and save again if it still needs a change."
)
LOOK_AGAIN = "Check the questions below. If everything is correct, save again."


@dataclass
class LayoutPage:
    """Content of the page: forms, preview and the problem that prevented saving."""

    structure: StructureForm
    preview: LayoutPreview
    columns: list[ColumnForm]
    name: NameForm
    correction: CorrectionForm
    pulls: PullsForm | None = None
    kind: KindForm | None = None
    problem: str = ""
    basis: str = ""  # what the page was filled from

    @property
    def rows(self) -> list[tuple[ColumnForm, ColumnView | None]]:
        views = self.preview.content.columns if self.preview.content else ()
        return [(form, views[i] if i < len(views) else None) for i, form in enumerate(self.columns)]

    @property
    def read_rows(self) -> list[tuple[int, list[str]]]:
        """Line numbers and cells of the first rows, as read."""
        if self.preview.content is None:
            return []
        views, lines = self.preview.content.columns, self.preview.content.row_lines
        return [(line, [read_cell(view, row) for view in views]) for row, line in enumerate(lines)]

    @property
    def has_afr(self) -> bool:
        return any(form.meaning[1] == "afr" or form.initial.get("unit") == "afr" for form in self.columns)

    @property
    def is_valid(self) -> bool:
        parts = [self.structure, self.name, self.correction, *self.columns]
        parts += [part for part in (self.pulls, self.kind) if part]
        return self.preview.layout is not None and all(part.is_valid() for part in parts)


def read_cell(view: ColumnView, row: int) -> str:
    """Return a value as read, or the text of a cell that is not a number."""
    value = float(view.values[row])
    if math.isfinite(value):
        return format_digits(value)
    return f"– ({view.raw[row]})" if row < len(view.raw) and view.raw[row] else NOT_MEASURED


def build_page(run: Run, data: bytes, sent: QueryDict | None) -> LayoutPage:
    """Build the page from the remembered or the stored layout, or from the submitted form."""
    known, stored = remembered_layout(run), stored_layout(run)
    if known and run.status != Run.Status.READ:
        stored = layout_for_file(data, run, known) or stored
    basis = sent.get("basis", "") if sent is not None else page_basis(run, known)
    if sent is None:
        overrides = (
            manual_overrides(stored, found_layout(data, run.original_name, StructureOverrides()))
            if stored
            else {}
        )
        structure = StructureForm(overrides)
        structure.is_valid()
    else:
        structure = StructureForm(sent)
        if not structure.is_valid():
            nothing = LayoutPreview(None, None, (), "Fix the marked fields to see a preview.")
            asked = CorrectionForm(sent, run, StatedCorrection())
            return LayoutPage(structure, nothing, [], NameForm(sent), asked, basis=basis)
    columns: list[ColumnForm] = []

    def apply_names(layout: FileLayoutSpec) -> FileLayoutSpec:
        matching = sent if sent is not None and sent.get("shape") == layout_signature(layout) else None
        known = layout if matching else same_columns(layout, stored)
        columns[:] = column_forms(known, matching)
        return with_meanings(known, columns) if matching else known.without_weak_guesses()

    afr = structure.cleaned_data["stoichiometric_afr"]
    kind = kind_form(run, sent)
    preview = preview_layout(data, run, structure.overrides, afr, apply_names, propose_kind=kind is not None)
    if kind is not None:
        proposal = replace(preview.proposal, kind=run.kind, gear=run.gear)
        kind.show_proposal(run.kind, propose_name(proposal, run.original_name))
    if preview.layout:
        structure.add_detected_hints(preview.layout)
    name = (
        NameForm(sent) if sent is not None else NameForm(initial={"name": default_name(run, preview.layout)})
    )
    correction = CorrectionForm(sent, run, stated_correction(preview))
    pulls = pulls_form(run, preview, sent)
    return LayoutPage(structure, preview, columns, name, correction, pulls, kind, basis=basis)


def kind_form(run: Run, sent: QueryDict | None) -> KindForm | None:
    """Return the form for a run that is not imported yet, and put its answers into the run."""
    if run.status != Run.Status.TO_NAME or run.pull:
        return None
    chosen = "" if run.kind == Run.Kind.SWEEP else run.kind
    form = KindForm(
        sent if sent is not None and "kind" in sent else None,
        initial={"kind": chosen, "gear": run.gear, "run_name": run.name},
    )
    if form.is_valid():
        run.name = form.cleaned_data["run_name"]
        run.kind, run.gear = form.cleaned_data["kind"] or Run.Kind.SWEEP, form.cleaned_data["gear"]
    return form


def page_basis(run: Run, known: FileLayout | None) -> str:
    """Return what a page about this run is filled from: versions of the run and of its remembered layout."""
    return f"{run.version} {known.pk} {known.version}" if known else f"{run.version}"


def stated_correction(preview: LayoutPreview) -> StatedCorrection:
    """Return what the file says of its correction, nothing if it cannot be read."""
    read = preview.content.content if preview.content else None
    return read.report.stated_correction if read else StatedCorrection()


def pulls_form(run: Run, preview: LayoutPreview, sent: QueryDict | None) -> PullsForm | None:
    """Return the form for the pulls of the file, or None if they are runs already or there is one only."""
    if run.pull or not preview.pulls:
        return None
    return PullsForm(sent if sent is not None and "pulls" in sent else None)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def run_layout(request: StaffRequest, pk: int) -> HttpResponse:
    """Set how the file of a run is read; with ``look`` in the form data, only preview it."""
    run = find_run(pk)
    try:
        data = read_original(run)
    except FileNotFoundError as problem:
        raise Http404("The original file of this run is missing.") from problem
    sent = post_data(request)
    page = build_page(run, data, sent)
    if sent is None or "look" in sent:
        template = (
            "jobs/runs/_layout_preview.html" if request.headers.get("HX-Request") else "jobs/runs/layout.html"
        )
        return render(request, template, {"run": run, "job": run.job, "page": page})
    return save_layout(request, run, page, sent)


def save_layout(request: StaffRequest, run: Run, page: LayoutPage, sent: QueryDict) -> HttpResponse:
    if is_outdated(run, page):
        page = build_page(run, read_original(run), None)
        page.problem = OUTDATED
        context = {"run": run, "job": run.job, "page": page}
        return render(request, "jobs/runs/layout.html", context, status=422)
    page.problem = save_blocker(page, sent)
    if not page.problem:
        assert page.preview.layout is not None
        try:
            named = name_columns(
                run=run,
                layout=page.preview.layout,
                remember_as=page.name.cleaned_data["name"],
                each_pull=page.pulls is not None and page.pulls.each_pull,
                correction=page.correction.answer,
            )
        except StaleRecord:
            page.problem = "Someone else has saved this run. Check the preview and save again."
        else:
            if named.result.ok:
                flash_imported(request, named)
                return redirect("run", run.pk)
            page.problem = named.result.sentence
    context = {"run": run, "job": run.job, "page": page}
    return render(request, "jobs/runs/layout.html", context, status=422)


def is_outdated(run: Run, page: LayoutPage) -> bool:
    """Return True if the layout of such files was remembered otherwise after the page was filled."""
    known = remembered_layout(run)
    if page.basis == page_basis(run, known) or known is None or page.preview.layout is None:
        return False
    try:
        return not same_meaning(FileLayoutSpec.from_dict(known.layout), page.preview.layout)
    except ValueError:
        return False


def save_blocker(page: LayoutPage, sent: QueryDict) -> str:
    """Return why the layout cannot be saved yet, or '' if it can."""
    if page.preview.layout is None or page.preview.problem:
        return page.preview.problem
    if sent.get("shape") != page.preview.signature:
        return "The import settings have changed. Check the columns, then save."
    if not page.is_valid:
        return "Fix the marked fields."
    if not any(form.meaning[0] for form in page.columns):
        return "Choose what at least one column contains."
    questions = page.preview.questions_seen
    return LOOK_AGAIN if questions and questions != sent.get("seen") else ""


def flash_imported(request: StaffRequest, named: NamingResult) -> None:
    messages.success(
        request,
        f"{named.result.sentence} Similar files will be imported automatically from now on, unless something "
        "is not certain.",
    )
    for other in named.others:
        level = messages.SUCCESS if other.outcome is Outcome.READ else messages.WARNING
        messages.add_message(request, level, other.sentence)


# --- remembered layouts


@staff
@require_safe
def layout_list(request: StaffRequest) -> HttpResponse:
    text, use = search_text(request), search_text(request, "use")
    page = list_page(request, sort_rows(request, filter_layouts(text, use), LAYOUT_COLUMNS))
    context = {
        "page": page,
        "layouts": [(stored, [c for c in remembered_columns(stored) if c.channel]) for stored in page],
        "headings": list_headings(request, LAYOUT_COLUMNS),
        "wanted": text,
        "use": use,
        "uses": LAYOUT_USES,
        "filter_count": int(bool(use)),
        "can_write": request.user.holds(Role.TUNER),
    }
    return render(request, "jobs/runs/layout_list.html", context)


def filter_layouts(text: str, use: str) -> "QuerySet[FileLayout]":
    """Return the layouts of a list with the number of their runs; an unknown use is ignored."""
    layouts = FileLayout.objects.annotate(run_count=Count("runs")).order_by("name", "pk")
    if use in ("used", "unused"):
        layouts = layouts.filter(run_count__gt=0) if use == "used" else layouts.filter(run_count=0)
    return layouts.filter(name__icontains=text) if text else layouts


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def layout_edit(request: StaffRequest, pk: int) -> HttpResponse:
    stored = get_object_or_404(FileLayout, pk=pk)
    sent = post_data(request)
    form = FileLayoutForm(sent, instance=stored)
    try:
        layout: FileLayoutSpec | None = FileLayoutSpec.from_dict(stored.layout)
    except ValueError:
        layout = None
    columns = column_forms(layout, sent) if layout else []
    if form.is_valid() and all(column.is_valid() for column in columns):
        if layout:
            stored.layout = with_meanings(layout, columns).confirmed().to_dict()
        if form.save_unless_stale():
            messages.success(request, f"File layout “{stored}” saved. Runs already imported do not change.")
            return redirect("layout-list")
    context: dict[str, Any] = {"stored": stored, "columns": columns, "layout": layout}
    return render_form(request, "jobs/runs/layout_form.html", form, **context)


@roles(Role.TUNER)
@require_POST
def layout_remove(request: StaffRequest, pk: int) -> HttpResponse:
    stored = get_object_or_404(FileLayout, pk=pk)
    stored.delete()
    messages.success(request, f"File layout “{stored}” deleted. Runs already imported do not change.")
    return redirect("layout-list")
