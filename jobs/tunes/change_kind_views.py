"""The shop's kinds of tune change, which the owner extends."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods, require_POST

from jobs.models import TuneChange, TuneChangeKind
from jobs.tunes.forms import ChangeKindForm
from workshop.access.roles import StaffRequest, owner_only
from workshop.records.responses import flash_saved, post_data, remove_unless_in_use, render_form
from workshop.records.submit_once import submit_once

IN_USE = "“{}” is in use on a job and cannot be removed. Tick “archived” instead."


@owner_only
@require_http_methods(["GET", "POST"])
@submit_once
def change_kind_list(request: StaffRequest) -> HttpResponse:
    form = ChangeKindForm(post_data(request))
    if form.is_valid():
        kind = form.save()
        flash_saved(request, f"“{kind}” added.", "change-kind-new")
        return redirect("change-kind-list")
    return render_form(request, "jobs/tunes/change_kind_list.html", form, kinds=TuneChangeKind.objects.all())


@owner_only
@require_http_methods(["GET", "POST"])
def change_kind_edit(request: StaffRequest, pk: int) -> HttpResponse:
    kind = get_object_or_404(TuneChangeKind, pk=pk)
    form = ChangeKindForm(post_data(request), instance=kind)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"“{kind}” saved.", f"change-kind-{pk}")
        return redirect("change-kind-list")
    in_use = TuneChange.objects.filter(kind=kind).exists()
    return render_form(request, "jobs/tunes/change_kind_form.html", form, kind=kind, in_use=in_use)


@owner_only
@require_POST
def change_kind_remove(request: StaffRequest, pk: int) -> HttpResponse:
    kind = get_object_or_404(TuneChangeKind, pk=pk)
    return remove_unless_in_use(
        request, kind, in_use=IN_USE, list_url="change-kind-list", edit_url="change-kind-edit"
    )
