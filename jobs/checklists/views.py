"""Checks of a job, and the shop's lists that the owner edits."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.checklists.forms import CheckItemForm
from jobs.checklists.ticks import job_checklists, set_tick
from jobs.job.lookup import get_job_or_404, get_results_or_404
from jobs.models import CheckItem, SuspensionSetting
from jobs.suspension.gearing import check_tyre_speed
from workshop.access.roles import StaffRequest, owner_only, roles, staff
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once


@staff
@require_safe
def checks(request: StaffRequest, number: str) -> HttpResponse:
    return render_checks(request, number, "jobs/checklists/detail.html")


def render_checks(
    request: StaffRequest, number: str, template: str, just_pressed: int | None = None
) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    job = results.job
    context = {
        "job": job,
        "lists": results.get(job_checklists),
        "tyre": check_tyre_speed(job.bike, results.rows(SuspensionSetting)),
        "just_pressed": just_pressed,
    }
    return render(request, template, context)


@roles(Role.MECHANIC, Role.TUNER)
@require_POST
def check_tick(request: StaffRequest, number: str, pk: int) -> HttpResponse:
    """Tick an item (``tick=on``) or remove the tick; respond with the lists or a redirect to them."""
    job = get_job_or_404(number)
    item = get_object_or_404(CheckItem, pk=pk)
    set_tick(job=job, item=item, by=request.user, ticked=request.POST.get("tick") == "on")
    if request.headers.get("HX-Request"):
        return render_checks(request, number, "jobs/checklists/_lists.html", just_pressed=pk)
    return redirect(f"{reverse('checks', args=[job])}#item-{pk}")


def items_in_job_order() -> list[CheckItem]:
    """Return the shop's checks, list by list in the order of a job."""
    lists = CheckItem.List.values
    return sorted(CheckItem.objects.all(), key=lambda item: lists.index(item.list))


@owner_only
@require_http_methods(["GET", "POST"])
@submit_once
def check_item_list(request: StaffRequest) -> HttpResponse:
    form = CheckItemForm(post_data(request))
    if form.is_valid():
        form.save()
        flash_saved(request, "The check is added.", "check-item-new")
        return redirect("check-item-list")
    return render_form(request, "jobs/checklists/item_list.html", form, items=items_in_job_order())


@owner_only
@require_http_methods(["GET", "POST"])
def check_item_edit(request: StaffRequest, pk: int) -> HttpResponse:
    item = get_object_or_404(CheckItem, pk=pk)
    form = CheckItemForm(post_data(request), instance=item)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, "The check is saved.", f"check-item-{pk}")
        return redirect("check-item-list")
    return render_form(request, "jobs/checklists/item_form.html", form, item=item)
