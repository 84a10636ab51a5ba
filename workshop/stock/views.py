"""Pages of the stock of shims."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role, ShimStock
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once
from workshop.stock.add_shims import add_shims
from workshop.stock.forms import ShimAddForm, ShimCountForm


@staff
@require_safe
def shim_stock(request: StaffRequest) -> HttpResponse:
    return render(request, "workshop/stock/list.html", {"shims": ShimStock.objects.all()})


@roles(Role.MECHANIC)
@require_http_methods(["GET", "POST"])
@submit_once
def shim_stock_add(request: StaffRequest) -> HttpResponse:
    form = ShimAddForm(post_data(request))
    if form.is_valid():
        shims = add_shims(**form.cleaned_data)
        flash_saved(request, f"{shims}: {shims.count} lie in the drawer now.", "shims-new")
        return redirect("shim-stock")
    return render_form(request, "workshop/stock/form.html", form)


@roles(Role.MECHANIC)
@require_http_methods(["GET", "POST"])
def shim_stock_edit(request: StaffRequest, pk: int) -> HttpResponse:
    shims = get_object_or_404(ShimStock, pk=pk)
    form = ShimCountForm(post_data(request), instance=shims)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{shims}: {shims.count} lie in the drawer now.", f"shims-{pk}")
        return redirect("shim-stock")
    return render_form(request, "workshop/stock/form.html", form, shims=shims)
