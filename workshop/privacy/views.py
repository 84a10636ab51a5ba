"""A customer's personal data: merge duplicates, export, erase."""

import tempfile

from django.http import FileResponse, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_safe

from workshop.access.roles import StaffRequest, owner_only, roles
from workshop.models import Customer, Role
from workshop.privacy.erase import erase, erasure_blocker
from workshop.privacy.export import export
from workshop.privacy.forms import EraseForm
from workshop.privacy.mentions import erased_name, find_mentions
from workshop.privacy.merge import likely_duplicates, merge
from workshop.records.lists import search_text
from workshop.records.responses import flash_saved, parse_pk, post_data, render_form

MAX_CHOICES = 20


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def customer_merge(request: StaffRequest, pk: int) -> HttpResponse:
    customer = get_object_or_404(Customer, pk=pk)
    text = search_text(request)
    found = Customer.objects.matching(text).exclude(pk=pk) if text else likely_duplicates(customer)
    problem = ""
    if request.method == "POST":
        duplicate = Customer.objects.filter(pk=parse_pk(request.POST.get("other", ""))).first()
        if duplicate is not None and duplicate != customer:
            name = str(duplicate)
            merge(keep=customer, duplicate=duplicate)
            flash_saved(request, f"{name} merged into this customer.")
            return redirect("customer", pk)
        problem = "Choose the duplicate to merge."
    context = {
        "customer": customer,
        "choices": found.prefetch_related("bikes")[:MAX_CHOICES],
        "wanted": text,
        "problem": problem,
    }
    return render(request, "workshop/privacy/merge.html", context, status=422 if problem else 200)


@roles(Role.DESK)
@require_safe
def customer_export(request: StaffRequest, pk: int) -> HttpResponseBase:
    customer = get_object_or_404(Customer, pk=pk)
    name = f"{slugify(customer.name) or 'customer'}-{pk}.zip"
    target = tempfile.TemporaryFile()  # noqa: SIM115  (the response closes it when it is sent)
    export(customer, target)
    target.seek(0)
    return FileResponse(target, as_attachment=True, filename=name, content_type="application/zip")


@owner_only
@require_http_methods(["GET", "POST"])
def customer_erase(request: StaffRequest, pk: int) -> HttpResponse:
    customer = get_object_or_404(Customer, pk=pk)
    form = EraseForm(post_data(request), customer=customer)
    if form.is_valid():
        erase(customer, keep=form.keep, documents=form.decisions, by=request.user)
        flash_saved(request, "Personal data erased. The work records are kept.")
        return redirect("customer", pk)
    return render_form(
        request,
        "workshop/privacy/erase.html",
        form,
        customer=customer,
        blocker=erasure_blocker(customer),
        mentions=find_mentions(customer),
        erased_name=erased_name(customer),
    )
