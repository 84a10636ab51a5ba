"""Stock of shims."""

from django.db import models
from django.db.models import Q

from workshop.models.base import Record
from workshop.models.engines import mm_field


class ShimStock(Record):
    diameter_mm = mm_field("diameter (mm)", null=False, blank=False)
    thickness_mm = mm_field("thickness (mm)", null=False, blank=False)
    count = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ("diameter_mm", "thickness_mm")
        constraints = [
            models.UniqueConstraint(fields=["diameter_mm", "thickness_mm"], name="shim_stock_size_unique"),
            models.CheckConstraint(
                condition=Q(thickness_mm__gt=0, diameter_mm__gt=0), name="shim_stock_size_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"Ø {self.diameter_mm.normalize():f} × {self.thickness_mm.normalize():f} mm"
