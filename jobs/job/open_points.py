"""Open points of a sheet or a handover: stored in English, printed in any language."""

import re

from django.utils.translation import gettext, gettext_noop, pgettext

from workshop.languages import translate_stored
from workshop.models import ClearanceKind
from workshop.models.engines import POSITIONS, Side

CANCELLED = gettext_noop("The job is cancelled.")
NOT_CHECKED_IN = gettext_noop("The bike is not checked in yet.")
AT_STAGE = gettext_noop("The job is at the stage “%(stage)s”.")
NOT_TOLD = gettext_noop(
    "Not confirmed for this sheet: the customer was told that the bike may no longer be road legal."
)
# Stored by earlier versions.
FORMER_NOT_TOLD = gettext_noop(
    "The bike is meant for %(use)s, something on it may not be, and the customer was not told."
)
WORK_OPEN = gettext_noop("Agreed work is not ticked as done: %(work)s.")
FUEL_CHANGED = gettext_noop(
    "The fuel was changed after the first run of the mixture study “%(study)s”: %(change)s."
)
VALVES_OPEN = gettext_noop(
    "Valve clearances are out of range or not certain by the last reading: %(valves)s."
)
MORE_VALVES_OPEN = gettext_noop(
    "Valve clearances are out of range or not certain by the last reading: %(valves)s and %(count)s more."
)
TICK_OUTDATED = gettext_noop("Checks %(list)s: 1 tick older than a later change of the bike.")
TICKS_OUTDATED = gettext_noop("Checks %(list)s: %(count)s ticks older than a later change of the bike.")
CHECKS_OPEN = gettext_noop("Checks %(list)s: %(open)s of %(all)s not ticked.")
SETTINGS_OPEN = gettext_noop("The import settings of the run file %(run)s are not confirmed yet.")
NO_SHEET = gettext_noop("No handover sheet is issued.")
NOT_PRINTED = gettext_noop("Sheet %(number)s is issued but not printed.")
SHEET_OUTDATED = gettext_noop(
    "Sheet %(number)s no longer says what is recorded. Changed since: %(sections)s."
)
# The one with more in its sentence first.
OPEN_POINTS = (
    *(
        CANCELLED,
        NOT_CHECKED_IN,
        AT_STAGE,
        NOT_TOLD,
        FORMER_NOT_TOLD,
        WORK_OPEN,
        FUEL_CHANGED,
        MORE_VALVES_OPEN,
        VALVES_OPEN,
    ),
    *(TICK_OUTDATED, TICKS_OUTDATED, CHECKS_OPEN, SETTINGS_OPEN, NO_SHEET, NOT_PRINTED, SHEET_OUTDATED),
)

# Title of a checklist that comes once for each session.
SESSION_TITLE = gettext_noop("%(list)s, session %(number)s")
VALVE = re.compile(
    rf"cylinder (\d+), ({'|'.join(Side.values)})(?: ({'|'.join(POSITIONS[3])}))?"
    rf"(?:, ({'|'.join(ClearanceKind.labels)}))?"
)


def translate_open_point(text: str) -> str:
    """Return a stored open point in the language in use; what people typed stays as typed."""
    return translate_stored(text, OPEN_POINTS, translate_value)


def translate_value(name: str, value: str) -> str:
    if name in ("stage", "use"):
        return gettext(value)
    if name == "list":
        return translate_stored(value, [SESSION_TITLE], translate_value)
    if name == "sections":
        return ", ".join(gettext(section) for section in value.split(", "))
    return VALVE.sub(translate_valve, value) if name == "valves" else value


def translate_valve(found: re.Match[str]) -> str:
    cylinder, side, place, gap = found.groups()
    label = gettext("cylinder %(number)s, %(side)s %(place)s") % {
        "number": cylinder,
        "side": pgettext("valve", side),
        "place": gettext(place) if place else "",
    }
    return f"{label.strip()}, {gettext(gap)}" if gap else label.strip()
