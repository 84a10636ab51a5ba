"""What is held about a customer: two entries taken together, all of it given out, the name erased."""

import tempfile

from django import forms
from django.http import FileResponse, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_safe

from workshop.access.roles import StaffRequest, owner_only, roles
from workshop.models import Customer, Role
from workshop.privacy.personal import alike, erase, erasure_refused, export, merge
from workshop.records.responses import flash_saved, parse_pk, post_data, render_form

MOST_CHOICES = 20


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def customer_merge(request: StaffRequest, pk: int) -> HttpResponse:
    customer = get_object_or_404(Customer, pk=pk)
    text = request.GET.get("q", "").replace("\0", "").strip()
    found = Customer.objects.matching(text).exclude(pk=pk) if text else alike(customer)
    problem = ""
    if request.method == "POST":
        other = Customer.objects.filter(pk=parse_pk(request.POST.get("other", ""))).first()
        if other is not None and other != customer:
            name = str(other)
            merge(keep=customer, other=other)
            flash_saved(request, f"The entry of {name} is taken together with this one.")
            return redirect("customer", pk)
        problem = "Choose the other entry of the same person."
    context = {
        "customer": customer,
        "choices": found.prefetch_related("bikes")[:MOST_CHOICES],
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


class EraseForm(forms.Form):
    name = forms.CharField(label="The customer's name, to be sure", max_length=120)

    def __init__(self, *args: object, customer: Customer) -> None:
        super().__init__(*args)  # type: ignore[arg-type]  # the sent data, or None
        self.customer = customer

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"]
        if name.strip() != self.customer.name:
            raise forms.ValidationError(f"Type the name as it stands here: {self.customer.name}")
        if refused := erasure_refused(self.customer):
            raise forms.ValidationError(refused)
        return name


@owner_only
@require_http_methods(["GET", "POST"])
def customer_erase(request: StaffRequest, pk: int) -> HttpResponse:
    customer = get_object_or_404(Customer, pk=pk)
    form = EraseForm(post_data(request), customer=customer)
    if form.is_valid():
        erase(customer)
        flash_saved(request, "The name is erased; the shop's records of the work stay.")
        return redirect("customer", pk)
    refused = erasure_refused(customer)
    return render_form(request, "workshop/privacy/erase.html", form, customer=customer, refused=refused)
