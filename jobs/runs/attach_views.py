"""Upload run files."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.job.form_page import form_page
from jobs.job.lookup import get_job_or_404
from jobs.models import Job, Run
from jobs.runs.forms import AttachForm
from jobs.runs.importing import Intake, Outcome, RunDetails, attach, too_large
from workshop.access.roles import StaffRequest, roles
from workshop.models import Role
from workshop.records.responses import post_data

ROLLER = (
    "A bike on the roller",
    "Tyre and roller catch and throw: straps checked, nobody behind or beside the bike, loose things away. "
    "Exhaust gas kills unseen: extraction running, carbon monoxide watched. Wear hearing protection, keep "
    "fuel and fire apart, stay below the tyre's speed symbol. What your safety rules ask goes first.",
)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def run_attach(request: StaffRequest, number: str) -> HttpResponse:
    """Several files in one sending, or one in each as the page's script sends them (answered as JSON).

    A file is attached to a job once, whoever sends it how often, so no key of the sending is needed; and
    a transaction around the whole sending would keep the database waiting while large files are read.
    """
    job = get_job_or_404(number)
    form = AttachForm(
        post_data(request), request.FILES or None, instance=Run(job=job), job=job, shop=request.shop
    )
    by_script = request.accepts("application/json") and not request.accepts("text/html")
    if form.is_valid():
        told = [take_in(request, job, file, form.details) for file in form.cleaned_data["run_files"]]
        return answer_script(told) if by_script else answer_page(request, job, told)
    if by_script:
        return JsonResponse({"ok": False, "message": problems_of(form)}, status=422)
    return form_page(
        request,
        form,
        job=job,
        title="Attach runs",
        section="runs",
        cautions=[ROLLER],
        template="jobs/runs/attach.html",
    )


@dataclass(frozen=True)
class Told:
    """What is said of one file that was sent; without a run it was not even kept."""

    sentence: str
    intake: Intake | None = None

    @property
    def ok(self) -> bool:
        return self.intake is not None and self.intake.ok

    @property
    def url(self) -> str:
        if self.intake is None:
            return ""
        waits = self.intake.outcome in (Outcome.TO_NAME, Outcome.REFUSED)
        return reverse("run-layout" if waits else "run", args=[self.intake.run.pk])


def take_in(request: StaffRequest, job: Job, file: UploadedFile, details: RunDetails) -> Told:
    name = file.name or "file"
    if refusal := too_large(name, file.size or 0):
        return Told(refusal)
    intake = attach(job=job, by=request.user, name=name, data=file.read(), details=details)
    return Told(intake.sentence, intake)


def answer_script(told: Sequence[Told]) -> JsonResponse:
    ok = all(each.ok for each in told)
    first = next((each for each in told if each.ok == ok), told[0])
    return JsonResponse({"ok": ok, "message": " ".join(each.sentence for each in told), "url": first.url})


def answer_page(request: StaffRequest, job: Job, told: Sequence[Told]) -> HttpResponse:
    for each in told:
        messages.add_message(request, messages.SUCCESS if each.ok else messages.WARNING, each.sentence)
    if len(told) == 1 and told[0].intake and told[0].intake.outcome is Outcome.TO_NAME:
        return redirect("run-layout", told[0].intake.run.pk)
    return redirect("runs", job)


def problems_of(form: AttachForm) -> str:
    said = []
    for name, errors in form.errors.items():
        label = form.fields[name].label if name in form.fields else ""
        said += [f"{label}: {error}" if label else str(error) for error in errors]
    return " ".join(said)
