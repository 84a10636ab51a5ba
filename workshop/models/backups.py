"""Log of the backups."""

from typing import Any

from django.conf import settings
from django.db import models


class BackupTaken(models.Model):
    """A backup that was made and verified."""

    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    rows = models.PositiveBigIntegerField()
    files = models.PositiveIntegerField()
    size_bytes = models.PositiveBigIntegerField()

    class Meta:
        ordering = ("-at", "-pk")

    def __str__(self) -> str:
        return f"backup of {self.at:%Y-%m-%d %H:%M}"

    @classmethod
    def record_backup(cls, manifest: Any, *, size: int, by: Any) -> "BackupTaken":
        return cls.objects.create(rows=manifest.row_count, files=len(manifest.files), size_bytes=size, by=by)
