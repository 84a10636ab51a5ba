"""Checks of a job, its sessions on the dyno, and the shop's lists that the owner edits."""

from urllib.parse import urlsplit

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.checklists.forms import CheckForm, CheckItemForm, DynoSessionForm
from jobs.checklists.sessions import (
    NoNewSession,
    current_session,
    number_of,
    remove_session,
    start_session,
)
from jobs.checklists.ticks import List, job_checklists, set_tick
from jobs.job.form_page import form_page, remove_button
from jobs.job.lookup import get_job_or_404, get_results_or_404
from jobs.models import Check, CheckItem, DynoSession, Job, SuspensionSetting
from jobs.suspension.gearing import check_tyre_speed
from jobs.tunes.set_speeds import rev_limit_in_bike
from workshop.access.roles import StaffRequest, owner_only, roles, staff
from workshop.models import Role
from workshop.records.responses import flash_saved, parse_pk, post_data, render_form
from workshop.records.submit_once import submit_once


@staff
@require_safe
def checks(request: StaffRequest, number: str) -> HttpResponse:
    return render_checks(request, number, "jobs/checklists/detail.html")


def render_checks(
    request: StaffRequest, number: str, template: str, just_pressed: int | None = None, notice: str = ""
) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    job = results.job
    lists = results.get(job_checklists)
    context = {
        "job": job,
        "lists": [checklist for checklist in lists if not checklist.is_former],
        "former": [checklist for checklist in lists if checklist.is_former],
        "session": next(iter(reversed(results.rows(DynoSession))), None),
        "tyre": check_tyre_speed(job.bike, results.rows(SuspensionSetting), results.get(rev_limit_in_bike)),
        "just_pressed": just_pressed,
        "notice": notice,
        "can_tick": request.user.holds(Role.MECHANIC) or request.user.holds(Role.TUNER),
        "changed_on_job_page": results if is_on_job_page(request, job) else None,
    }
    return render(request, template, context)


def is_on_job_page(request: StaffRequest, job: Job) -> bool:
    """Return True if the lists are open on the job page, whose head and line change with a tick."""
    page = urlsplit(request.headers.get("HX-Current-URL", "")).path
    return request.method == "POST" and page == job.get_absolute_url()


def checks_url(job: Job, item: CheckItem) -> str:
    return f"{reverse('checks', args=[job])}#item-{item.pk}"


@roles(Role.MECHANIC, Role.TUNER)
@require_POST
def check_tick(request: StaffRequest, number: str, pk: int) -> HttpResponse:
    """Tick an item (``tick=on``), again (``again``), or remove the tick (``off``)."""
    job = get_job_or_404(number)
    item = get_object_or_404(CheckItem, pk=pk)
    notice = changed_session(job, item, request.POST.get("session", ""))
    if not notice:
        tick = request.POST.get("tick")
        set_tick(job=job, item=item, by=request.user, ticked=tick in ("on", "again"), again=tick == "again")
    if request.headers.get("HX-Request"):
        return render_checks(request, number, "jobs/checklists/_lists.html", just_pressed=pk, notice=notice)
    if notice:
        messages.warning(request, notice)
    return redirect(checks_url(job, item))


def changed_session(job: Job, item: CheckItem, shown: str) -> str:
    """Return a sentence if another session began since the page was shown, or ""."""
    if not shown or item.list != List.BEFORE_ROLLER:
        return ""
    session = current_session(job)
    if shown == str(number_of(session)):
        return ""
    return (
        f"Not saved. The page showed dyno session {shown}, but the current session is "
        f"{number_of(session)}. Check the list below and tick again what was checked in this session."
    )


@roles(Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def check_answer(request: StaffRequest, number: str, pk: int) -> HttpResponse:
    """Answer a check with the time it was made, or as not applicable, also in a former session."""
    job = get_job_or_404(number)
    item = get_object_or_404(CheckItem, pk=pk)
    session = requested_session(job, item, request.GET.get("session", ""))
    check = Check.objects.filter(job=job, item=item, session=session).first()
    form = CheckForm(
        post_data(request),
        instance=check or Check(job=job, item=item, session=session, by=request.user),
    )
    if form.is_valid() and save_answer(form):
        flash_saved(request, f"Answer to “{item}” saved.", draft_name(job, item, session))
        return redirect(checks_url(job, item))
    return form_page(
        request,
        form,
        job=job,
        title=str(item),
        section="checks",
        draft=draft_name(job, item, session),
        note=f"{describe_list(item, session)}. {item.caution}",
        remove=remove_button(check, "check-remove", "Remove this answer") if check else None,
    )


def describe_list(item: CheckItem, session: DynoSession | None) -> str:
    of_session = f", session {number_of(session)}" if item.list == List.BEFORE_ROLLER else ""
    return f"{item.get_list_display().capitalize()}{of_session}"


def requested_session(job: Job, item: CheckItem, number: str) -> DynoSession | None:
    """Return the session named in an address, or the present one; None for the first."""
    if item.list != List.BEFORE_ROLLER:
        return None
    if not number:
        return current_session(job)
    if number == str(DynoSession.FIRST):
        return None
    return get_object_or_404(DynoSession, job=job, number=parse_pk(number))


def save_answer(form: CheckForm) -> bool:
    """Save an answer, and return False with a sentence if someone else answered first."""
    try:
        with transaction.atomic():
            return form.save_unless_stale()
    except IntegrityError:
        form.add_error(
            None, "Someone else answered this check at the same time. Open it again to see the answer."
        )
        return False


def draft_name(job: Job, item: CheckItem, session: DynoSession | None) -> str:
    return f"check-{job}-{item.pk}-{number_of(session)}"


@roles(Role.MECHANIC, Role.TUNER)
@require_POST
def check_remove(request: StaffRequest, pk: int) -> HttpResponse:
    check = get_object_or_404(Check.objects.select_related("job", "item"), pk=pk)
    check.delete()
    messages.success(request, f"Answer to “{check.item}” removed. It stays in the change log.")
    return redirect(checks_url(check.job, check.item))


@roles(Role.MECHANIC, Role.TUNER)
@require_POST
@submit_once
def dyno_session_new(request: StaffRequest, number: str) -> HttpResponse:
    """Strap the bike down again: the checks before the dyno are open again."""
    job = get_job_or_404(number)
    try:
        session = start_session(job=job, by=request.user, started_at=timezone.now())
    except NoNewSession as problem:
        messages.warning(request, str(problem))
    else:
        messages.success(request, f"Dyno session {session.number} started. Its checks are open.")
    return redirect(f"{reverse('checks', args=[job])}#before_roller-title")


@roles(Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
def dyno_session_edit(request: StaffRequest, pk: int) -> HttpResponse:
    session = get_object_or_404(DynoSession.objects.select_related("job__bike"), pk=pk)
    form = DynoSessionForm(post_data(request), instance=session)
    draft = f"dyno-session-{pk}"
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"Dyno session {session.number} saved.", draft)
        return redirect("checks", session.job)
    return form_page(
        request,
        form,
        job=session.job,
        title=f"Dyno session {session.number}",
        section="checks",
        draft=draft,
        remove=remove_button(session, "dyno-session-remove", "Remove this session"),
    )


@roles(Role.MECHANIC, Role.TUNER)
@require_POST
def dyno_session_remove(request: StaffRequest, pk: int) -> HttpResponse:
    session = get_object_or_404(DynoSession.objects.select_related("job"), pk=pk)
    try:
        remove_session(session)
    except NoNewSession as problem:
        messages.warning(request, str(problem))
    else:
        messages.success(
            request, f"Dyno session {session.number} removed. Its runs now belong to the session before it."
        )
    return redirect("checks", session.job)


def items_in_job_order() -> list[CheckItem]:
    """Return the shop's checks, list by list in the order of a job."""
    lists = CheckItem.List.values
    return sorted(CheckItem.objects.all(), key=lambda item: lists.index(item.list))


@owner_only
@require_http_methods(["GET", "POST"])
@submit_once
def check_item_list(request: StaffRequest) -> HttpResponse:
    form = CheckItemForm(post_data(request))
    if form.is_valid():
        form.save()
        flash_saved(request, "Check added.", "check-item-new")
        return redirect("check-item-list")
    return render_form(request, "jobs/checklists/item_list.html", form, items=items_in_job_order())


@owner_only
@require_http_methods(["GET", "POST"])
def check_item_edit(request: StaffRequest, pk: int) -> HttpResponse:
    item = get_object_or_404(CheckItem, pk=pk)
    form = CheckItemForm(post_data(request), instance=item)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, "Check saved.", f"check-item-{pk}")
        return redirect("check-item-list")
    return render_form(request, "jobs/checklists/item_form.html", form, item=item)
