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
from jobs.runs.importing import ImportResult, Outcome, import_run, size_refusal
from jobs.runs.refused_uploads import STORED_FOR, RefusedUpload
from workshop.access.roles import StaffRequest, roles
from workshop.models import Role
from workshop.records.responses import post_data

ROLLER = (
    "Bike on the dyno",
    "Tyres and rollers can catch and throw things: check the straps, keep everyone away from behind and "
    "beside the bike, clear loose items. Exhaust gas kills and you cannot see it: run the extraction and "
    "monitor carbon monoxide. Wear hearing protection, keep fuel away from ignition sources, "
    "stay below the tyre's speed rating. Your own safety rules take precedence.",
)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def run_attach(request: StaffRequest, number: str) -> HttpResponse:
    """Import the files of a form, or a single file sent by the script (answered with JSON).

    A file is attached to a job once, however often it is sent, so no submission key is needed. A transaction
    around the whole request would block the database while large files are read.
    """
    job = get_job_or_404(number)
    by_script = request.accepts("application/json") and not request.accepts("text/html")
    refused = RefusedUpload.parse(request.user.pk, request.POST.get("refused_upload", ""))
    form = AttachForm(
        post_data(request),
        request.FILES or None,
        instance=Run(job=job),
        job=job,
        shop=request.shop,
        stored_files=[] if by_script else refused.load(request.POST.getlist("stored_file")),
    )
    if form.is_valid():
        files = form.cleaned_data["run_files"]
        uploads = [import_file(request, job, file, form) for file in files]
        refused.discard()
        return respond_to_script(uploads) if by_script else respond_to_page(request, job, uploads)
    if by_script:
        return JsonResponse({"ok": False, "message": describe_errors(form)}, status=422)
    refused.add(request.FILES.getlist("run_files"))
    return form_page(
        request,
        form,
        job=job,
        title="Upload runs",
        section="runs",
        cautions=[ROLLER],
        template="jobs/runs/attach.html",
        refused=refused,
        stored_minutes=STORED_FOR.seconds // 60,
    )


@dataclass(frozen=True)
class UploadResult:
    """Result of uploading one file; without an import result the file was not stored."""

    sentence: str
    result: ImportResult | None = None

    @property
    def ok(self) -> bool:
        return self.result is not None and self.result.ok

    @property
    def url(self) -> str:
        if self.result is None:
            return ""
        needs_layout = self.result.outcome in (Outcome.TO_NAME, Outcome.REFUSED)
        return reverse("run-layout" if needs_layout else "run", args=[self.result.run.pk])


def import_file(request: StaffRequest, job: Job, file: UploadedFile, form: AttachForm) -> UploadResult:
    name = file.name or "file"
    if refusal := size_refusal(name, file.size or 0):
        return UploadResult(refusal)
    result = import_run(
        job=job,
        by=request.user,
        name=name,
        data=file.read(),
        details=form.details,
        last_gear=form.last_gear,
    )
    return UploadResult(result.sentence, result)


def respond_to_script(uploads: Sequence[UploadResult]) -> JsonResponse:
    ok = all(upload.ok for upload in uploads)
    first = next((upload for upload in uploads if upload.ok == ok), uploads[0])
    message = " ".join(upload.sentence for upload in uploads)
    return JsonResponse({"ok": ok, "message": message, "url": first.url})


def respond_to_page(request: StaffRequest, job: Job, uploads: Sequence[UploadResult]) -> HttpResponse:
    for upload in uploads:
        level = messages.SUCCESS if upload.ok else messages.WARNING
        messages.add_message(request, level, upload.sentence)
    result = uploads[0].result
    if len(uploads) == 1 and result and result.outcome is Outcome.TO_NAME:
        return redirect("run-layout", result.run.pk)
    return redirect("runs", job)


def describe_errors(form: AttachForm) -> str:
    sentences = []
    for name, errors in form.errors.items():
        label = form.fields[name].label if name in form.fields else ""
        sentences += [f"{label}: {error}" if label else str(error) for error in errors]
    return " ".join(sentences)
