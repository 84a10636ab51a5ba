"""Forms whose fields stand in named groups."""

from dataclasses import dataclass
from typing import ClassVar

from django import forms

Groups = tuple[tuple[str, tuple[str, ...]], ...]  # legend and names of fields, in the order of the page


def names_of(groups: Groups) -> list[str]:
    return [name for _, names in groups for name in names]


@dataclass(frozen=True)
class Group:
    legend: str
    fields: list[forms.BoundField]
    shown_for: str = ""  # what the form must have chosen for the page to keep the group unfolded


class Grouped(forms.BaseForm):
    """Gives ``groups`` for workshop/_fields.html."""

    GROUPS: ClassVar[Groups] = ()
    SHOWN_FOR: ClassVar[dict[str, str]] = {}  # by legend

    @property
    def groups(self) -> list[Group]:
        if not self.GROUPS:
            return [Group("", self.visible_fields())]
        groups = [
            # a form made from this one may leave fields out
            Group(
                legend, [self[name] for name in names if name in self.fields], self.SHOWN_FOR.get(legend, "")
            )
            for legend, names in self.GROUPS
        ]
        return [group for group in groups if group.fields]
