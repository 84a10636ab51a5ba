"""The base of every record: a version against overwriting, dates, and a history."""

from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import F
from simple_history.models import HistoricalRecords


class StaleRecord(Exception):
    """Someone else saved the record after it was read; nothing was written."""


class Record(models.Model):
    """A row that cannot be overwritten unnoticed and whose changes are all stored.

    ``save`` raises StaleRecord if the stored version is no longer the one that was read.
    Forms turn that into a message that says who changed what (see workshop.records.form).
    """

    version = models.PositiveIntegerField(default=1, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)
    history = HistoricalRecords(inherit=True)

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        with transaction.atomic():
            if not self._state.adding:
                self._claim_version()
                if kwargs.get("update_fields") is not None:
                    kwargs["update_fields"] = {*kwargs["update_fields"], "version", "updated_at"}
            super().save(*args, **kwargs)

    def _claim_version(self) -> None:
        claimed = (
            type(self)._base_manager.filter(pk=self.pk, version=self.version).update(version=F("version") + 1)
        )
        if not claimed:
            raise StaleRecord(f"{self._meta.verbose_name} {self.pk} has been changed by someone else")
        self.version += 1

    def unique_error_message(
        self, model_class: type[models.Model], unique_check: Sequence[str]
    ) -> ValidationError:
        """Say which fields are the same in another record."""
        fields = (model_class._meta.get_field(name) for name in unique_check)
        names = " and ".join(str(field.verbose_name) for field in fields)  # type: ignore[union-attr]  # no reverse relation is unique
        code = "unique" if len(unique_check) == 1 else "unique_together"
        return ValidationError(f"A {self._meta.verbose_name} with this {names} already exists.", code=code)
