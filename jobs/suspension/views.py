"""Suspension and settings, as found and as left."""

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods

from jobs.job.form_page import form_page, section_url
from jobs.models import Job, SuspensionSetting
from jobs.suspension.forms import SuspensionForm
from jobs.suspension.settings import ADJUSTABLE_FIELDS, ENDS, describe_sag_guide
from workshop.access.roles import StaffRequest, roles
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data
from workshop.records.submit_once import submit_once

WRITERS = (Role.DESK, Role.MECHANIC, Role.TUNER)
CAUTION = (
    "Settings change how the bike rides",
    "Change one thing at a time, follow the manufacturer's service manual and note the earlier "
    "setting. Set tyre pressures cold, within the limits of the bike and tyre manufacturers. "
    "Support the bike so that it cannot fall.",
)


@roles(*WRITERS)
@require_http_methods(["GET", "POST"])
@submit_once
def suspension_new(request: StaffRequest, number: str, when: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    if when not in SuspensionSetting.When.values:
        raise Http404("Choose “as found” or “as left”.")
    setting = SuspensionSetting(job=job, by=request.user, when=when)
    draft = f"suspension-{when}-{job.pk}"
    return save_setting(request, setting, draft, initial=last_set(job))


def last_set(job: Job) -> dict[str, Any]:
    """Return the last settings of this job, so that only changes have to be entered."""
    last = job.suspension_settings.last()
    names = [*ADJUSTABLE_FIELDS, *(f"{end}_travel_mm" for end in ENDS)]
    return {name: getattr(last, name) for name in names} if last else {}


@roles(*WRITERS)
@require_http_methods(["GET", "POST"])
def suspension_edit(request: StaffRequest, pk: int) -> HttpResponse:
    setting = get_object_or_404(SuspensionSetting.objects.select_related("job"), pk=pk)
    return save_setting(request, setting, f"suspension-{pk}")


def save_setting(
    request: StaffRequest, setting: SuspensionSetting, draft: str, initial: dict[str, Any] | None = None
) -> HttpResponse:
    job = setting.job
    form = SuspensionForm(post_data(request), instance=setting, initial=initial, shop=request.shop)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"Settings {setting.get_when_display()} saved.", draft)
        return redirect(section_url(job, "suspension"))
    guides = [describe_sag_guide(end, job.intended_use) for end in ENDS]
    return form_page(
        request,
        form,
        job=job,
        title=f"Suspension and settings {setting.get_when_display()}",
        section="suspension",
        draft=draft,
        cautions=[CAUTION],
        note=f"Rule of thumb, a starting point, not a limit: {'; '.join(guides)}.",
    )
