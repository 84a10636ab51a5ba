"""What happened: in the whole shop, and to one record."""

from datetime import datetime
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_safe

from workshop.access.roles import StaffRequest, owner_only, staff
from workshop.change_log.entries import PAGE_LENGTH, happenings, kinds, told_models
from workshop.models import StaffMember

OWNERS_ALONE = {"workshop.staffmember", "workshop.shopprofile"}


def asked_time(request: StaffRequest) -> datetime | None:
    try:
        asked = parse_datetime(request.GET.get("before", ""))
    except ValueError:
        return None
    return timezone.make_aware(asked) if asked and timezone.is_naive(asked) else asked


def show(request: StaffRequest, context: dict[str, Any], **wanted: Any) -> HttpResponse:
    found = happenings(before=asked_time(request), **wanted)
    more = found[PAGE_LENGTH - 1].when.isoformat() if len(found) > PAGE_LENGTH else ""
    context |= {"happenings": found[:PAGE_LENGTH], "more": more}
    return render(request, "workshop/change_log/list.html", context)


@owner_only
@require_safe
def shop_history(request: StaffRequest) -> HttpResponse:
    kind, by = request.GET.get("kind", ""), request.GET.get("by", "")
    context = {"kinds": kinds(), "people": StaffMember.objects.all(), "kind": kind, "by": by}
    return show(request, context, kind=kind, by=int(by) if by.isdecimal() and len(by) < 10 else None)


@staff
@require_safe
def record_history(request: StaffRequest, kind: str, pk: int) -> HttpResponse:
    model = told_models().get(kind)
    if model is None:
        raise Http404(f"There is no kind of record “{kind}”.")
    if kind in OWNERS_ALONE and not request.user.is_owner:
        raise PermissionDenied("This is for: owner.")
    record = model._base_manager.filter(pk=pk).first()
    address = getattr(record, "get_absolute_url", None)
    context = {"record": record or f"{model._meta.verbose_name} {pk}", "back": address() if address else ""}
    return show(request, context, kind=kind, pk=str(pk))
