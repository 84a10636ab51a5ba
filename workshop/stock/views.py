"""Pages of the stock of shims."""

import re
from decimal import Decimal

from django.db.models import Count, Q, QuerySet, Sum
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from workshop.access.roles import StaffRequest, roles, staff
from workshop.csv_files import csv_text
from workshop.models import Role, ShimStock
from workshop.records.lists import ListColumn, list_headings, list_page, sort_rows
from workshop.records.responses import csv_response, flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once
from workshop.stock.add_shims import add_shims
from workshop.stock.forms import ShimAddForm, ShimCountForm
from workshop.units.display import format_plain

COLUMNS = (
    ListColumn("diameter", "Diameter", ("diameter_mm", "thickness_mm")),
    ListColumn("thickness", "Thickness", ("thickness_mm", "diameter_mm")),
    ListColumn("count", "In stock", ("count", "diameter_mm", "thickness_mm")),
)
USED_UP = "none"


def listed_shims(request: StaffRequest) -> "QuerySet[ShimStock]":
    """Return the sizes that the address asks for, in its order."""
    shims = ShimStock.objects.all()
    if diameter := re.fullmatch(r"\d{1,4}(\.\d{1,5})?", request.GET.get("diameter", ""), re.ASCII):
        shims = shims.filter(diameter_mm=Decimal(diameter[0]))
    if request.GET.get("stock") == USED_UP:
        shims = shims.filter(count=0)
    return sort_rows(request, shims, COLUMNS)


@staff
@require_safe
def shim_stock(request: StaffRequest) -> HttpResponse:
    sizes = ShimStock.objects.values("diameter_mm").order_by("diameter_mm")
    diameters = list(sizes.annotate(shims=Sum("count"), used_up=Count("pk", filter=Q(count=0))))
    context = {
        "page": list_page(request, listed_shims(request)),
        "headings": list_headings(request, COLUMNS),
        "diameters": diameters,
        "in_stock": sum(size["shims"] for size in diameters),
        "used_up": sum(size["used_up"] for size in diameters),
    }
    return render(request, "workshop/stock/list.html", context)


@staff
@require_safe
def shim_stock_csv(request: StaffRequest) -> HttpResponse:
    """Return the sizes that the list shows, all pages of it, as CSV."""
    rows = (
        (Decimal(format_plain(shim.diameter_mm)), Decimal(format_plain(shim.thickness_mm)), shim.count)
        for shim in listed_shims(request)
    )
    return csv_response(csv_text(("diameter_mm", "thickness_mm", "count"), rows), "shims.csv")


@roles(Role.MECHANIC)
@require_http_methods(["GET", "POST"])
@submit_once
def shim_stock_add(request: StaffRequest) -> HttpResponse:
    form = ShimAddForm(post_data(request))
    if form.is_valid():
        shims = add_shims(**form.cleaned_data)
        flash_saved(request, f"{shims}: {shims.count} in stock.", "shims-new")
        return redirect("shim-stock")
    return render_form(request, "workshop/stock/form.html", form)


@roles(Role.MECHANIC)
@require_http_methods(["GET", "POST"])
def shim_stock_edit(request: StaffRequest, pk: int) -> HttpResponse:
    shims = get_object_or_404(ShimStock, pk=pk)
    form = ShimCountForm(post_data(request), instance=shims)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{shims}: {shims.count} in stock.", f"shims-{pk}")
        return redirect("shim-stock")
    return render_form(request, "workshop/stock/form.html", form, shims=shims)
