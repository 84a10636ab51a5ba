"""Customers: list with search, page, new, edit."""

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from workshop.access.roles import StaffRequest, roles, staff
from workshop.csv_files import csv_text
from workshop.customers.duplicates import find_known_bikes, find_known_customers
from workshop.customers.forms import CustomerEntryForm, CustomerForm
from workshop.models import Bike, Customer, Role
from workshop.records.lists import ListColumn, list_headings, list_page, search_text, sort_rows
from workshop.records.responses import csv_response, flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once

COLUMNS = (
    ListColumn("name", "Name", ("name",)),
    ListColumn("phone", "Phone", ("phone",)),
    ListColumn("email", "Email", ("email",)),
    ListColumn("bikes", "Bikes"),
)


@staff
@require_safe
def customer_list(request: StaffRequest) -> HttpResponse:
    wanted = search_text(request)
    customers = Customer.objects.prefetch_related("bikes")
    if wanted:
        customers = customers.matching(wanted)
    page = list_page(request, sort_rows(request, customers, COLUMNS))
    context = {"page": page, "wanted": wanted, "headings": list_headings(request, COLUMNS)}
    return render(request, "workshop/customers/list.html", context)


@roles(Role.DESK)
@require_safe
def customer_list_csv(request: StaffRequest) -> HttpResponse:
    """Return the customers that the list shows, all pages of it, as CSV."""
    wanted = search_text(request)
    customers = Customer.objects.matching(wanted) if wanted else Customer.objects.all()
    rows = sort_rows(request, customers, COLUMNS).values_list("name", "phone", "email").iterator()
    return csv_response(csv_text(("name", "phone", "email"), rows), "customers.csv")


@staff
@require_safe
def customer(request: StaffRequest, pk: int) -> HttpResponse:
    bikes = Bike.objects.select_related("engine_spec")
    found = get_object_or_404(Customer.objects.prefetch_related(Prefetch("bikes", bikes)), pk=pk)
    return render(request, "workshop/customers/detail.html", {"customer": found})


@roles(Role.DESK)
@require_safe
def known_entries(request: StaffRequest) -> HttpResponse:
    """Show the known customers and bikes that a person may be typing again, in a form or in a booking."""
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
        flash_saved(request, f"{customer} saved.", "customer-new")
        return redirect("customer", customer.pk)
    return render_form(request, "workshop/customers/form.html", form)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def customer_edit(request: StaffRequest, pk: int) -> HttpResponse:
    customer = get_object_or_404(Customer, pk=pk)
    form = CustomerForm(post_data(request), instance=customer)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{customer} saved.", f"customer-{pk}")
        return redirect("customer", pk)
    return render_form(request, "workshop/customers/form.html", form, customer=customer)
