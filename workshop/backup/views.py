"""Backing up by one button."""

import tempfile
from pathlib import Path

from django.conf import settings
from django.http import FileResponse, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_POST, require_safe

from workshop.access.roles import StaffRequest, owner_only
from workshop.backup import make_backup
from workshop.models import BackupTaken

MOST_SHOWN = 10


def show(request: StaffRequest, problem: Exception | None = None) -> HttpResponse:
    context = {"problem": problem, "taken": BackupTaken.objects.select_related("by")[:MOST_SHOWN]}
    return render(request, "workshop/backup/backup.html", context, status=503 if problem else 200)


@owner_only
@require_safe
def backup(request: StaffRequest) -> HttpResponse:
    return show(request)


@owner_only
@require_POST
def backup_take(request: StaffRequest) -> HttpResponseBase:
    Path(settings.DATA_DIR).mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=settings.DATA_DIR, prefix="backup-") as folder:
        try:
            path, manifest = make_backup(Path(folder))
        except (ValueError, OSError) as problem:
            return show(request, problem)
        BackupTaken.note(manifest, size=path.stat().st_size, by=request.user)
        # Open while its folder goes: the file lives until it is sent.
        return FileResponse(path.open("rb"), as_attachment=True, filename=path.name)
