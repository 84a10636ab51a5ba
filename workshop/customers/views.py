"""Customers: list with search, page, new, edit."""

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from workshop.access.roles import StaffRequest, roles, staff
from workshop.customers.forms import CustomerForm
from workshop.models import Bike, Customer, Role
from workshop.records.lists import list_page, search_text
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once


@staff
@require_safe
def customer_list(request: StaffRequest) -> HttpResponse:
    wanted = search_text(request)
    customers = Customer.objects.prefetch_related("bikes")
    if wanted:
        customers = customers.matching(wanted)
    page = list_page(request, customers)
    return render(request, "workshop/customers/list.html", {"page": page, "wanted": wanted})


@staff
@require_safe
def customer(request: StaffRequest, pk: int) -> HttpResponse:
    bikes = Bike.objects.select_related("engine_spec")
    found = get_object_or_404(Customer.objects.prefetch_related(Prefetch("bikes", bikes)), pk=pk)
    return render(request, "workshop/customers/detail.html", {"customer": found})


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def customer_new(request: StaffRequest) -> HttpResponse:
    form = CustomerForm(post_data(request))
    if form.is_valid():
        customer = form.save()
        flash_saved(request, f"{customer} is saved.", "customer-new")
        return redirect("customer", customer.pk)
    return render_form(request, "workshop/customers/form.html", form)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def customer_edit(request: StaffRequest, pk: int) -> HttpResponse:
    customer = get_object_or_404(Customer, pk=pk)
    form = CustomerForm(post_data(request), instance=customer)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{customer} is saved.", f"customer-{pk}")
        return redirect("customer", pk)
    return render_form(request, "workshop/customers/form.html", form, customer=customer)
