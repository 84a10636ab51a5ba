"""Adding shims to the stock."""

from decimal import Decimal

from django.db import IntegrityError, transaction

from workshop.models import ShimStock


def add_shims(*, diameter_mm: Decimal, thickness_mm: Decimal, count: int) -> ShimStock:
    """Add shims to the stock, to the count of the same size if there is one."""
    size = {"diameter_mm": diameter_mm, "thickness_mm": thickness_mm}
    try:
        with transaction.atomic():
            return _add_to_size(size, count)
    except IntegrityError:
        # Someone else added the first shim of this size at the same time.
        with transaction.atomic():
            return _add_to_size(size, count)


def _add_to_size(size: dict[str, Decimal], count: int) -> ShimStock:
    shims = ShimStock.objects.select_for_update().filter(**size).first() or ShimStock(**size)
    shims.count += count
    shims.save()
    return shims
