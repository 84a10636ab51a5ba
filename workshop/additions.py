"""Templates that an app adds to pages of the apps below it, by place."""

from collections import defaultdict

_templates: defaultdict[str, list[str]] = defaultdict(list)


def add_template(place: str, template: str) -> None:
    """Add a template to those of a place; adding it again changes nothing."""
    if template not in _templates[place]:
        _templates[place].append(template)


def templates_at(place: str) -> tuple[str, ...]:
    return tuple(_templates.get(place, ()))
