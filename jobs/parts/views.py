"""Parts fitted on a job."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods, require_POST

from jobs.job.form_page import form_page, remove_button, section_url
from jobs.job.results import load_job_results
from jobs.models import Job, Part
from jobs.parts.forms import PartForm
from jobs.parts.on_bike import items_on_bike
from workshop.access.roles import StaffRequest, roles
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data
from workshop.records.submit_once import submit_once

RACE_ONLY = (
    "Parts for race use only",
    "A part that is made or approved for race use only may make the bike not road legal. Tick "
    "“race use only” if the manufacturer's papers say so: the sheet then names it as a cause in "
    "the road-use notice. Follow the part manufacturer's instructions and torques.",
)


@roles(Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def part_add(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    return save_part(request, Part(job=job), "Add a part", f"part-new-{job.pk}")


@roles(Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
def part_edit(request: StaffRequest, pk: int) -> HttpResponse:
    part = get_object_or_404(Part.objects.select_related("job"), pk=pk)
    return save_part(request, part, "Edit a part", f"part-{pk}")


def save_part(request: StaffRequest, part: Part, title: str, draft: str) -> HttpResponse:
    on_bike = load_job_results(part.job, request.shop).get(items_on_bike)
    form = PartForm(post_data(request), instance=part, on_bike=on_bike)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{part} saved.", draft)
        return redirect(section_url(part.job, "parts"))
    return form_page(
        request,
        form,
        job=part.job,
        title=title,
        section="parts",
        draft=draft,
        cautions=[RACE_ONLY],
        remove=remove_button(part, "part-remove", "Remove this part"),
    )


@roles(Role.MECHANIC, Role.TUNER)
@require_POST
def part_remove(request: StaffRequest, pk: int) -> HttpResponse:
    part = get_object_or_404(Part.objects.select_related("job"), pk=pk)
    part.delete()
    messages.success(request, f"{part} was removed from the list.")
    return redirect(section_url(part.job, "parts"))
