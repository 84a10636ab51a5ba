"""Wishes of a job: entered, answered, removed."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods, require_POST

from jobs.job.form_page import form_page, remove_button, section_url
from jobs.job.results import load_job_results
from jobs.job.sentences import counted
from jobs.models import Job, Wish
from jobs.wishes.add import add_wishes
from jobs.wishes.forms import NewWishesForm, WishForm
from workshop.access.roles import StaffRequest, roles
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data
from workshop.records.submit_once import submit_once

WRITERS = (Role.DESK, Role.MECHANIC, Role.TUNER)
ANSWERS = (
    "Claim no more than was measured or ridden",
    "Write “better”, “gone” or “cured” only if a record shows it, for example a comparison or a test ride. "
    "“No clear difference” is not “unchanged”. Half the plate opening is not half the torque.",
)


@roles(*WRITERS)
@require_http_methods(["GET", "POST"])
@submit_once
def wish_add(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    form, draft = NewWishesForm(post_data(request)), f"wish-new-{job.pk}"
    if form.is_valid():
        added = add_wishes(job, form.cleaned_data["wishes"])
        flash_saved(request, f"{counted(len(added), 'wish', 'wishes')} added.", draft)
        return redirect(section_url(job, "wishes"))
    return form_page(
        request,
        form,
        job=job,
        title="Add wishes",
        section="wishes",
        draft=draft,
        note=f"The customer's request: {job.brief}",
    )


@roles(*WRITERS)
@require_http_methods(["GET", "POST"])
def wish_edit(request: StaffRequest, pk: int) -> HttpResponse:
    wish = get_object_or_404(Wish.objects.select_related("job"), pk=pk)
    draft = f"wish-{pk}"
    results = load_job_results(wish.job, request.shop)
    form = WishForm(post_data(request), instance=wish, results=results)
    if form.is_valid():
        if {"result", "answer", "records"} & {*form.changed_data}:
            wish.answered_by = request.user if wish.answer else None
        if form.save_unless_stale():
            flash_saved(request, "Wish saved.", draft)
            return redirect(section_url(wish.job, "wishes"))
    return form_page(
        request,
        form,
        job=wish.job,
        title="Edit a wish",
        section="wishes",
        draft=draft,
        cautions=[ANSWERS],
        remove=remove_button(wish, "wish-remove", "Delete this wish"),
    )


@roles(*WRITERS)
@require_POST
def wish_remove(request: StaffRequest, pk: int) -> HttpResponse:
    wish = get_object_or_404(Wish.objects.select_related("job"), pk=pk)
    wish.delete()
    messages.success(request, f"Wish deleted: {wish}")
    return redirect(section_url(wish.job, "wishes"))
