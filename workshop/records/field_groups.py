"""Forms whose fields are shown in named groups."""

from dataclasses import dataclass
from typing import ClassVar

from django import forms

Groups = tuple[tuple[str, tuple[str, ...]], ...]  # legend and field names, in page order


def field_names(groups: Groups) -> list[str]:
    return [name for _, names in groups for name in names]


@dataclass(frozen=True)
class FieldGroup:
    legend: str
    fields: list[forms.BoundField]
    shown_for: str = ""  # the choice with which the page keeps the group unfolded


class FieldGroupsMixin(forms.BaseForm):
    """A form that gives ``groups`` to workshop/records/_fields.html."""

    GROUPS: ClassVar[Groups] = ()
    SHOWN_FOR: ClassVar[dict[str, str]] = {}  # by legend

    @property
    def groups(self) -> list[FieldGroup]:
        if not self.GROUPS:
            return [FieldGroup("", self.visible_fields())]
        groups = [
            # A subclass may leave fields out or hide them.
            FieldGroup(
                legend,
                [self[name] for name in names if name in self.fields and not self[name].is_hidden],
                self.SHOWN_FOR.get(legend, ""),
            )
            for legend, names in self.GROUPS
        ]
        return [group for group in groups if group.fields]
