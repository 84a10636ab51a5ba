"""Calls, messages and notes of a job."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods, require_POST

from jobs.contacts.forms import ContactForm
from jobs.job.form_page import form_page, remove_button, section_url
from jobs.models import ContactEntry, Job
from workshop.access.roles import StaffRequest, roles
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data
from workshop.records.submit_once import submit_once

SECTION = "diary"


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def contact_add(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    return save_contact(request, ContactEntry(job=job, by=request.user), "Add a call, message or note")


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
def contact_edit(request: StaffRequest, pk: int) -> HttpResponse:
    # What the customer wrote on their own page stays in their words.
    entry = get_object_or_404(ContactEntry.objects.select_related("job"), pk=pk, by__isnull=False)
    return save_contact(request, entry, "Edit a call, message or note")


def save_contact(request: StaffRequest, entry: ContactEntry, title: str) -> HttpResponse:
    form = ContactForm(post_data(request), instance=entry)
    draft = f"contact-{entry.pk or f'new-{entry.job}'}"
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{entry.get_kind_display().capitalize()} saved.", draft)
        return redirect(section_url(entry.job, SECTION))
    return form_page(
        request,
        form,
        job=entry.job,
        title=title,
        section=SECTION,
        draft=draft,
        note="For the shop only: the handover sheet does not print it.",
        remove=remove_button(entry, "contact-remove", "Delete this entry"),
    )


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_POST
def contact_remove(request: StaffRequest, pk: int) -> HttpResponse:
    entry = get_object_or_404(ContactEntry.objects.select_related("job"), pk=pk)
    entry.delete()
    messages.success(request, "Entry deleted. The change log still shows it.")
    return redirect(section_url(entry.job, SECTION))
