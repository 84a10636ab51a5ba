"""Forms whose fields stand in named groups."""

from dataclasses import dataclass
from typing import ClassVar

from django import forms


@dataclass(frozen=True)
class Group:
    legend: str
    fields: list[forms.BoundField]
    key: str = ""

    @property
    def is_filled(self) -> bool:
        """Whether anything stands in it, or something is to be put right."""
        return any(field.errors or field.value() not in (None, "", False) for field in self.fields)


class Grouped(forms.BaseForm):
    """Gives ``groups`` for workshop/_fields.html: (legend, names of fields) in the order of the page."""

    GROUPS: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = ()

    @property
    def groups(self) -> list[Group]:
        if not self.GROUPS:
            return [Group("", self.visible_fields())]
        return [Group(legend, [self[name] for name in names]) for legend, names in self.GROUPS]
