"""Agreed work on a job, with its price."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.job.form_page import form_page, remove_button, section_url
from jobs.job.lookup import get_job_or_404
from jobs.models import Job, WorkItem
from jobs.work_items.authorising import record_answer
from jobs.work_items.forms import WorkItemForm
from jobs.work_items.ticking import set_done
from jobs.work_items.totals import work_csv
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role, StaffMember, StaleRecord
from workshop.records.responses import csv_response, parse_pk, post_data
from workshop.records.submit_once import submit_once


@staff
@require_safe
def work_items_csv(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("customer", "bike"), number=number)
    return csv_response(work_csv(job, request.shop.currency), f"work-{job.number}.csv")


@staff
@require_safe
def work_items(request: StaffRequest, number: str) -> HttpResponse:
    """Show the work agreed, which whoever has done it ticks."""
    job = get_job_or_404(number)
    context = {"job": job, "work_items": job.work_items.all()}
    return render(request, "jobs/work_items/list.html", context)


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_POST
def work_item_tick(request: StaffRequest, pk: int) -> HttpResponse:
    """Tick work as done (``tick=on``), or remove the tick."""
    item = get_object_or_404(WorkItem.objects.select_related("job"), pk=pk)
    done = request.POST.get("tick") == "on"
    try:
        set_done(item, done=done, version=parse_pk(request.POST.get("version", "")))
    except StaleRecord:
        messages.error(request, f"“{item}” was changed in the meantime. Check it and tick it again.")
    return redirect(f"{reverse('work-items', args=[item.job])}#work-{pk}")


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def work_item_add(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    return save_work_item(request, job, WorkItem(job=job), "Add agreed work")


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def work_item_edit(request: StaffRequest, pk: int) -> HttpResponse:
    item = get_object_or_404(WorkItem.objects.select_related("job"), pk=pk)
    return save_work_item(request, item.job, item, "Edit agreed work")


def save_work_item(request: StaffRequest, job: Job, item: WorkItem, title: str) -> HttpResponse:
    form = WorkItemForm(post_data(request), instance=item)
    if form.is_valid() and form.is_refused:
        record_answer(form.build_answer(job, request.user))
        asked = form.cleaned_data["asked"]
        messages.info(request, f"{asked} refused. The refusal is recorded and the agreed work is unchanged.")
        return redirect(section_url(job, "work"))
    if form.is_valid() and save_with_answer(form, job, request.user):
        messages.success(request, "Agreed work saved.")
        return redirect(section_url(job, "work"))
    return form_page(
        request,
        form,
        job=job,
        title=title,
        section="work",
        template="jobs/work_items/form.html",
        remove=remove_button(item, "work-item-remove", "Remove"),
    )


@transaction.atomic
def save_with_answer(form: WorkItemForm, job: Job, by: StaffMember) -> bool:
    """Save the work with the customer's answer, if there was a question; return False on a conflict."""
    if not form.save_unless_stale():
        return False
    if form.question:
        record_answer(form.build_answer(job, by))
    return True


@roles(Role.DESK)
@require_POST
def work_item_remove(request: StaffRequest, pk: int) -> HttpResponse:
    item = get_object_or_404(WorkItem.objects.select_related("job"), pk=pk)
    item.delete()
    messages.success(request, f"“{item}” removed from the agreed work.")
    return redirect(section_url(item.job, "work"))
