"""Pages of the change log: of the whole shop, and of one record."""

from datetime import datetime
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_safe

from workshop.access.roles import StaffRequest, owner_only, staff
from workshop.change_log.entries import PAGE_LENGTH, list_entries, list_kinds, tracked_models
from workshop.models import StaffMember
from workshop.records.responses import parse_pk

OWNER_ONLY_KINDS = {"workshop.staffmember", "workshop.shopprofile"}


def parse_before(request: StaffRequest, kind: str) -> datetime | int | None:
    """Return where the page begins: after an entry of this kind, or at a time if there are all kinds."""
    text = request.GET.get("before", "")
    if kind:
        return parse_pk(text) or None
    try:
        before = parse_datetime(text)
    except ValueError:
        return None
    return timezone.make_aware(before) if before and timezone.is_naive(before) else before


def render_entries(request: StaffRequest, context: dict[str, Any], **filters: Any) -> HttpResponse:
    kind = filters["kind"]
    entries = list_entries(before=parse_before(request, kind), **filters)
    last = entries[PAGE_LENGTH - 1] if len(entries) > PAGE_LENGTH else None
    more = last and (last.history_id if kind else last.when.isoformat())
    context |= {"entries": entries[:PAGE_LENGTH], "more": more}
    return render(request, "workshop/change_log/list.html", context)


@owner_only
@require_safe
def shop_history(request: StaffRequest) -> HttpResponse:
    kind, by = request.GET.get("kind", ""), request.GET.get("by", "")
    context = {"kinds": list_kinds(), "people": StaffMember.objects.all(), "kind": kind, "by": by}
    return render_entries(
        request, context, kind=kind, by=int(by) if by.isdecimal() and len(by) < 10 else None
    )


@staff
@require_safe
def record_history(request: StaffRequest, kind: str, pk: int) -> HttpResponse:
    model = tracked_models().get(kind)
    if model is None:
        raise Http404(f"There is no type of record “{kind}”.")
    if kind in OWNER_ONLY_KINDS and not request.user.is_owner:
        raise PermissionDenied("This is for: owner.")
    record = model._base_manager.filter(pk=pk).first()
    address = getattr(record, "get_absolute_url", None)
    context = {"record": record or f"{model._meta.verbose_name} {pk}", "back": address() if address else ""}
    return render_entries(request, context, kind=kind, pk=str(pk))
