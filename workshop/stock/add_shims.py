"""What goes into the drawer of shims."""

from decimal import Decimal

from django.db import IntegrityError, transaction

from workshop.models import ShimStock


def add_shims(*, diameter_mm: Decimal, thickness_mm: Decimal, count: int) -> ShimStock:
    """Put shims into the drawer; a size that is there already gets a higher count."""
    size = {"diameter_mm": diameter_mm, "thickness_mm": thickness_mm}
    try:
        with transaction.atomic():
            return _add_to_size(size, count)
    except IntegrityError:
        # Somebody put the first shim of this size in at the same moment.
        with transaction.atomic():
            return _add_to_size(size, count)


def _add_to_size(size: dict[str, Decimal], count: int) -> ShimStock:
    shims = ShimStock.objects.select_for_update().filter(**size).first() or ShimStock(**size)
    shims.count += count
    shims.save()
    return shims
