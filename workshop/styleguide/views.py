"""The styleguide: each component with its states."""

import xml.etree.ElementTree as ET

from django import forms
from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from workshop.access.roles import StaffRequest, staff

COLOURS = {
    "surfaces": ("paper", "sheet", "well", "lift"),
    "ink and lines": ("ink", "ink-soft", "rule", "edge"),
    "now, and what you can do": ("accent", "accent-strong", "accent-wash"),
    "on target, done": ("ok", "ok-wash"),
    "look here": ("warn", "warn-wash"),
    "out of range, late, stop": ("alert", "alert-wash"),
    "how it was, and other curves": ("before", *(f"line-{number}" for number in range(1, 13))),
    "rich": ("rich-1", "rich-2", "rich-3"),
    "on target": ("even",),
    "lean": ("lean-1", "lean-2", "lean-3"),
    "drawings": ("metal", "metal-2", "metal-line", "bore"),
}
STATES = {"empty": "not started", "in-hand": "in progress", "attention": "needs attention", "done": "done"}
VERDICTS = {
    "tight": "tight",
    "off-target": "in range, off target",
    "on-target": "on target",
    "in-range": "in range",
    "loose": "loose",
    "cannot-tell": "not certain",
}


class ExampleForm(forms.Form):
    """Fields as crispy forms render them, one of them wrong."""

    odometer = forms.CharField(label="Odometer", help_text="You can add a unit: 12050 km or 7490 mi.")
    intended_use = forms.ChoiceField(
        label="Intended use", choices=[("road", "Road"), ("track", "Track only")]
    )
    sent = forms.BooleanField(label="The customer agreed to this", required=False)


def icon_names() -> list[str]:
    icons = ET.parse(settings.BASE_DIR / "static" / "img" / "icons.svg")
    return [symbol.attrib["id"] for symbol in icons.getroot()]


@staff
@require_safe
def styleguide(request: StaffRequest) -> HttpResponse:
    context = {
        "colours": COLOURS,
        "states": STATES,
        "verdicts": VERDICTS,
        "icons": icon_names(),
        "form": ExampleForm({"intended_use": "road"}),
    }
    return render(request, "workshop/styleguide/styleguide.html", context)
