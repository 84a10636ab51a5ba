"""Pages of the shop's instruments and their checks."""

from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from workshop.access.roles import StaffRequest, roles, staff
from workshop.instruments.forms import InstrumentCheckForm, InstrumentForm
from workshop.models import Instrument, InstrumentCheck, Role
from workshop.models.instruments import InstrumentQuerySet
from workshop.records.lists import ListColumn, list_headings, list_page, search_text, sort_rows
from workshop.records.responses import flash_saved, post_data, remove_unless_in_use, render_form
from workshop.records.submit_once import submit_once

COLUMNS = (
    ListColumn("name", "Instrument", ("name", "number")),
    ListColumn("kind", "Type", ("kind",)),
    ListColumn("checked", "Last check", ("last_checked_on",)),
    ListColumn("due", "Next check due", ("next_due_on",)),
    ListColumn("state", "State"),
)
STATES = {"": "in use", "overdue": "check overdue", "withdrawn": "withdrawn", "all": "all"}
IN_USE = "{} is named by a measurement, so it cannot be removed. Tick “withdrawn from use” instead."


def filter_instruments(text: str, kind: str, state: str) -> InstrumentQuerySet:
    """Return the instruments of a list; an unknown kind is ignored, an unknown state is “in use”."""
    found = Instrument.objects.with_last_check()
    if state == "overdue":
        found = Instrument.objects.overdue()
    elif state == "withdrawn":
        found = found.filter(withdrawn=True)
    elif state != "all":
        found = found.in_use()
    if kind in Instrument.Kind.values:
        found = found.filter(kind=kind)
    return found.filter(Q(name__icontains=text) | Q(number__icontains=text)) if text else found


@staff
@require_safe
def instrument_list(request: StaffRequest) -> HttpResponse:
    text, kind, state = (search_text(request, name) for name in ("q", "kind", "state"))
    page = list_page(request, sort_rows(request, filter_instruments(text, kind, state), COLUMNS))
    context = {
        "page": page,
        "headings": list_headings(request, COLUMNS),
        "wanted": text,
        "kind": kind,
        "state": state,
        "filter_count": bool(kind) + bool(state),
        "kinds": Instrument.Kind.choices,
        "states": STATES,
        "any_instrument": bool(page.object_list) or Instrument.objects.exists(),
        "today": timezone.localdate(),
        "can_write": request.user.holds(Role.TUNER),
    }
    return render(request, "workshop/instruments/list.html", context)


@staff
@require_safe
def instrument(request: StaffRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Instrument, pk=pk)
    checks = list(found.checks.order_by("-checked_on", "-pk"))
    today = timezone.localdate()
    context = {
        "instrument": found,
        "checks": checks,
        "is_overdue": not found.withdrawn and bool(checks) and checks[0].is_overdue_on(today),
        "can_write": request.user.holds(Role.TUNER),
    }
    return render(request, "workshop/instruments/detail.html", context)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def instrument_new(request: StaffRequest) -> HttpResponse:
    form = InstrumentForm(post_data(request))
    if form.is_valid():
        added = form.save()
        flash_saved(request, f"{added} added. Record its last check here.", "instrument-new")
        return redirect("instrument", added.pk)
    return render_form(request, "workshop/instruments/form.html", form)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def instrument_edit(request: StaffRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Instrument, pk=pk)
    form = InstrumentForm(post_data(request), instance=found)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{found} saved.", f"instrument-{pk}")
        return redirect("instrument", pk)
    return render_form(request, "workshop/instruments/form.html", form, instrument=found)


@roles(Role.TUNER)
@require_POST
def instrument_remove(request: StaffRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Instrument, pk=pk)
    return remove_unless_in_use(
        request, found, in_use=IN_USE, list_url="instrument-list", edit_url="instrument-edit"
    )


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def instrument_check_new(request: StaffRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Instrument, pk=pk)
    form = InstrumentCheckForm(post_data(request), instance=InstrumentCheck(instrument=found))
    if form.is_valid():
        form.save()
        flash_saved(request, f"Check of {found} saved.", f"instrument-{pk}-check")
        return redirect("instrument", pk)
    return render_form(request, "workshop/instruments/check_form.html", form, instrument=found)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def instrument_check_edit(request: StaffRequest, pk: int) -> HttpResponse:
    check = get_object_or_404(InstrumentCheck.objects.select_related("instrument"), pk=pk)
    form = InstrumentCheckForm(post_data(request), instance=check)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"Check of {check.instrument} saved.", f"instrument-check-{pk}")
        return redirect("instrument", check.instrument_id)
    context = {"instrument": check.instrument, "check": check}
    return render_form(request, "workshop/instruments/check_form.html", form, **context)


@roles(Role.TUNER)
@require_POST
def instrument_check_remove(request: StaffRequest, pk: int) -> HttpResponse:
    check = get_object_or_404(InstrumentCheck.objects.select_related("instrument"), pk=pk)
    check.delete()
    messages.success(request, f"The {check} is removed.")
    return redirect("instrument", check.instrument_id)
