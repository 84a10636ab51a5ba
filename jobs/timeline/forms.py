"""Form of a change to the bike."""

from jobs.models import BikeChange
from jobs.parts.forms import RecordedOnBikeForm
from workshop.records.field_groups import Groups, field_names

CHANGE_GROUPS: Groups = (
    ("The change", ("kind", "description", "at")),
    ("What it replaces", ("removes_part", "removes_change")),
    ("Road use", ("approval",)),
)


class BikeChangeForm(RecordedOnBikeForm):
    GROUPS = CHANGE_GROUPS
    OFFERED_FOR = "for_changes"
    AT = "at"
    RECORDED = ("at",)

    class Meta(RecordedOnBikeForm.Meta):
        model = BikeChange
        fields = field_names(CHANGE_GROUPS)
        help_texts = {"at": "", "description": "For example: 15/45 to 15/47, race exhaust removed."}
