"""Adding shims to the stock."""

from decimal import Decimal

from django.db import transaction

from workshop.models import ShimStock


@transaction.atomic
def add_shims(*, diameter_mm: Decimal, thickness_mm: Decimal, count: int) -> ShimStock:
    """Add shims to the stock, to the count of the same size if there is one."""
    size = {"diameter_mm": diameter_mm, "thickness_mm": thickness_mm}
    shims, is_new = ShimStock.objects.select_for_update().get_or_create(**size, defaults={"count": count})
    if not is_new:
        shims.count += count
        shims.save()
    return shims
