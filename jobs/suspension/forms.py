"""Form of suspension settings: front, rear, gearing."""

from typing import Any

from jobs.job.fields import InShopUnits
from jobs.models import SuspensionSetting
from jobs.suspension.settings import ENDS, READINGS, SPROCKETS, compute_end_sag, end_fields
from workshop.models import ShopProfile
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin
from workshop.units.display import length_formatter

FRONT, REAR = ([name for name, _ in end_fields(end)] for end in ENDS)


class SuspensionForm(QuestionedTimesMixin, InShopUnits, FieldGroupsMixin, RecordForm):
    GROUPS = (
        ("Front", tuple(FRONT)),
        ("Rear", tuple(REAR)),
        ("Gearing", SPROCKETS),
        ("Record", ("set_at", "note")),
    )
    RECORDED = ("set_at",)
    QUANTITIES = {
        name: quantity
        for end in ENDS
        for name, quantity in end_fields(end)
        if quantity in ("length", "tyre_pressure")
    }

    class Meta(RecordForm.Meta):
        model = SuspensionSetting
        fields = [*FRONT, *REAR, *SPROCKETS, "set_at", "note"]

    def __init__(self, *args: Any, shop: ShopProfile, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.use_units(shop)
        self.lengths = length_formatter(shop.length_unit)
        self.order_fields(self.Meta.fields)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        for end in ENDS:
            self.check_sag(end)
        return cleaned

    def check_sag(self, end: str) -> None:
        """Reject inconsistent sag readings, with the error at the last one entered."""
        names = [f"{end}_{name}" for name in READINGS]
        readings = {name: self.cleaned_data.get(name) for name in names}
        problem = compute_end_sag(SuspensionSetting(**readings), end, "", self.lengths).problem
        if problem:
            at = "pushed_mm" if readings[f"{end}_pushed_mm"] else "bike_only_mm"
            self.add_error(f"{end}_{at}", problem)
