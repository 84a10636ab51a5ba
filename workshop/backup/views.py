"""Page with the button that makes a backup."""

from pathlib import Path

from django.conf import settings
from django.http import FileResponse, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_POST, require_safe

from workshop.access.roles import StaffRequest, owner_only
from workshop.backup import create_backup
from workshop.backup.work_folder import work_folder
from workshop.models import BackupTaken

MAX_SHOWN = 10


def show(request: StaffRequest, problem: Exception | None = None) -> HttpResponse:
    context = {"problem": problem, "backups": BackupTaken.objects.select_related("by")[:MAX_SHOWN]}
    return render(request, "workshop/backup/backup.html", context, status=503 if problem else 200)


@owner_only
@require_safe
def backup(request: StaffRequest) -> HttpResponse:
    return show(request)


@owner_only
@require_POST
def backup_take(request: StaffRequest) -> HttpResponseBase:
    Path(settings.DATA_DIR).mkdir(parents=True, exist_ok=True)
    with work_folder(Path(settings.DATA_DIR)) as folder:
        try:
            path, manifest = create_backup(folder)
        except (ValueError, OSError) as problem:
            return show(request, problem)
        BackupTaken.record_backup(manifest, size=path.stat().st_size, by=request.user)
        # The open file outlives its folder until it is sent.
        return FileResponse(path.open("rb"), as_attachment=True, filename=path.name)
