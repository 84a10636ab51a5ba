"""Customers: list with search, page, new, edit."""

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from workshop.access.roles import StaffRequest, roles, staff
from workshop.customers.duplicates import find_known_bikes, find_known_customers
from workshop.customers.forms import CustomerEntryForm, CustomerForm
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
@require_safe
def known_entries(request: StaffRequest) -> HttpResponse:
    """Show the known customers and bikes that a person may be typing anew, in a form or in a booking."""
    is_booking = "bike-plate" in request.GET
    name, phone, email, plate = (
        search_text(request, text)
        for text in (
            ("customer-name", "customer-phone", "customer-email", "bike-plate")
            if is_booking
            else ("name", "phone", "email", "plate")
        )
    )
    context = {
        "known_customers": find_known_customers(name=name, phone=phone, email=email),
        "known_bikes": find_known_bikes(plate),
        "choosing": is_booking,
        "chosen": request.GET.get("known", ""),
    }
    return render(request, "workshop/customers/_known.html", context)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def customer_new(request: StaffRequest) -> HttpResponse:
    form = CustomerEntryForm(post_data(request))
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
