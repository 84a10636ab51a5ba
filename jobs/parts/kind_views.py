"""The shop's kinds of parts and other changes, which the owner extends."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods, require_POST

from jobs.models import BikeChange, Part, PartKind
from jobs.parts.forms import PartKindForm
from workshop.access.roles import StaffRequest, owner_only
from workshop.records.responses import flash_saved, post_data, remove_unless_in_use, render_form
from workshop.records.submit_once import submit_once

IN_USE = "“{}” is in use on a job, so it cannot be removed. Tick “archived” instead."


@owner_only
@require_http_methods(["GET", "POST"])
@submit_once
def part_kind_list(request: StaffRequest) -> HttpResponse:
    form = PartKindForm(post_data(request))
    if form.is_valid():
        kind = form.save()
        flash_saved(request, f"“{kind}” added.", "part-kind-new")
        return redirect("part-kind-list")
    return render_form(request, "jobs/parts/kind_list.html", form, kinds=PartKind.objects.all())


@owner_only
@require_http_methods(["GET", "POST"])
def part_kind_edit(request: StaffRequest, pk: int) -> HttpResponse:
    kind = get_object_or_404(PartKind, pk=pk)
    form = PartKindForm(post_data(request), instance=kind)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"“{kind}” saved.", f"part-kind-{pk}")
        return redirect("part-kind-list")
    in_use = Part.objects.filter(kind=kind).exists() or BikeChange.objects.filter(kind=kind).exists()
    return render_form(request, "jobs/parts/kind_form.html", form, kind=kind, in_use=in_use)


@owner_only
@require_POST
def part_kind_remove(request: StaffRequest, pk: int) -> HttpResponse:
    kind = get_object_or_404(PartKind, pk=pk)
    return remove_unless_in_use(
        request, kind, in_use=IN_USE, list_url="part-kind-list", edit_url="part-kind-edit"
    )
