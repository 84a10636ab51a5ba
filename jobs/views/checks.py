"""Checks of a job, and the shop's lists that the owner edits."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.checks import set_tick, tick_lists
from jobs.forms.checks import CheckItemForm
from jobs.gear_speeds import tyre_verdict
from jobs.models import CheckItem
from jobs.page import load_page
from jobs.views.job import find_job
from workshop.answers import posted, render_form, say_saved
from workshop.models import Role
from workshop.once import once
from workshop.roles import StaffRequest, owner_only, roles, staff


@staff
@require_safe
def checks(request: StaffRequest, number: str) -> HttpResponse:
    return render_checks(request, number, "jobs/checks.html")


def render_checks(
    request: StaffRequest, number: str, template: str, just_pressed: int | None = None
) -> HttpResponse:
    job = find_job(number)
    page = load_page(job)
    context = {
        "job": job,
        "lists": tick_lists(page),
        "tyre": tyre_verdict(job.bike, page.suspension),
        "just_pressed": just_pressed,
    }
    return render(request, template, context)


@roles(Role.MECHANIC, Role.TUNER)
@require_POST
def check_tick(request: StaffRequest, number: str, pk: int) -> HttpResponse:
    """Tick an item (``tick=on``) or take the tick away; answers with the lists, or leads back to them."""
    job = find_job(number)
    item = get_object_or_404(CheckItem, pk=pk)
    set_tick(job=job, item=item, by=request.user, ticked=request.POST.get("tick") == "on")
    if request.headers.get("HX-Request"):
        return render_checks(request, number, "jobs/check_lists.html", just_pressed=pk)
    return redirect(f"{reverse('checks', args=[job])}#item-{pk}")


def in_the_order_of_work() -> list[CheckItem]:
    """The shop's checks, list after list as a job comes to them."""
    lists = CheckItem.List.values
    return sorted(CheckItem.objects.all(), key=lambda item: lists.index(item.list))


@owner_only
@require_http_methods(["GET", "POST"])
@once
def check_item_list(request: StaffRequest) -> HttpResponse:
    form = CheckItemForm(posted(request))
    if form.is_valid():
        form.save()
        say_saved(request, "The check is added.", "check-item-new")
        return redirect("check-item-list")
    return render_form(request, "jobs/check_item_list.html", form, items=in_the_order_of_work())


@owner_only
@require_http_methods(["GET", "POST"])
def check_item_edit(request: StaffRequest, pk: int) -> HttpResponse:
    item = get_object_or_404(CheckItem, pk=pk)
    form = CheckItemForm(posted(request), instance=item)
    if form.is_valid() and form.save_unless_stale():
        say_saved(request, "The check is saved.", f"check-item-{pk}")
        return redirect("check-item-list")
    return render_form(request, "jobs/check_item_form.html", form, item=item)
