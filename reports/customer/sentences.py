"""What the customer reads, composed from the facts of a sheet in the customer's language.

What people typed (wishes, answers, parts, reasons) stays as it was typed.
"""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from jobs.calc.units.numbers import format_number
from jobs.clearances.facts import ClearanceFacts
from jobs.comparisons.facts import ComparedValueFacts, ComparisonFacts, CurvesFacts
from jobs.throttle.facts import ModeFacts, ThrottleTableFacts
from jobs.wishes.facts import WishFacts
from reports.customer.regions import Stretch, stretches
from reports.handover.snapshot.schema import UnitFacts
from workshop.units.display import convert, decimals, label

# Labels that come from the facts.
MEASURED = (
    gettext_noop("Mean power"),
    gettext_noop("Peak power"),
    gettext_noop("Mean torque"),
    gettext_noop("Peak torque"),
)
RECORDS = (
    gettext_noop("Comparison"),
    gettext_noop("Held-throttle run"),
    gettext_noop("Throttle table"),
    gettext_noop("Mixture study"),
    gettext_noop("Valve clearances"),
    gettext_noop("Tune"),
    gettext_noop("Tune change"),
    gettext_noop("Part"),
    gettext_noop("Change of the bike"),
    gettext_noop("Suspension and settings"),
    gettext_noop("Check"),
    gettext_noop("Work"),
)
FIRST_SHARE_PCT = 10.0  # of the grip, where a hand works in town


def describe_result(result: str) -> str:
    return {
        "open": _("open"),
        "done": _("done"),
        "partly": _("partly done"),
        "not_done": _("not done"),
        "ask_first": _("we ask you first"),
    }[result]


def describe_source(wish: WishFacts) -> str:
    """Say what an answer rests on: records, or only the words of whoever gave it."""
    if not wish.answer:
        return ""
    if wish.records:
        names = "; ".join(f"{_(record.title)}: {record.name}" for record in wish.records)
        return _("Shown by: %(records)s") % {"records": names}
    if wish.answered_by:
        return _("In the words of %(person)s. No measurement of it is on record.") % {
            "person": wish.answered_by
        }
    return _("In the words of the shop. No measurement of it is on record.")


def rounded_rpm(speed: float) -> str:
    return format_number(100 * round(speed / 100))


def describe_stretch(stretch: Stretch) -> str:
    values = {"from": rounded_rpm(stretch.from_rpm), "to": rounded_rpm(stretch.to_rpm)}
    if stretch.is_more:
        return _("more between about %(from)s and %(to)s rpm") % values
    return _("less between about %(from)s and %(to)s rpm") % values


def describe_regions(curves: CurvesFacts, quantity: str) -> str:
    """Say where power or torque differs, or that no clear difference was found."""
    difference = curves.power_difference_kw if quantity == "power" else curves.torque_difference_nm
    name = _("Power") if quantity == "power" else _("Torque")
    found = stretches(curves, difference)
    if not found:
        return _(
            "%(quantity)s: no clear difference at any engine speed. This does not prove they are equal."
        ) % {"quantity": name}
    return f"{name}: {', '.join(map(describe_stretch, found))}."


def describe_runs(comparison: ComparisonFacts) -> str:
    before = len(comparison.before_runs)
    after = len(comparison.after_runs)
    runs = ngettext("%(count)s dyno run before", "%(count)s dyno runs before", before) % {"count": before}
    return f"{runs}, {ngettext('%(count)s after', '%(count)s after', after) % {'count': after}}."


def describe_value(value: ComparedValueFacts, units: UnitFacts) -> str:
    """Say a compared value with its interval; no clear difference is not equality."""
    stored, unit = ("kw", units.power_unit) if value.quantity == "power" else ("nm", units.torque_unit)

    places = decimals(value.quantity, unit)

    def show(number: float) -> str:
        return format_number(float(convert(number, stored, unit)), places)

    def show_end(number: float) -> str:
        """One decimal more than the values have, as on the sheet, so that no end is rounded to zero."""
        return format_number(float(convert(number, stored, unit)), places + 1, signed=True)

    words = {
        "what": _(value.label),
        "before": show(value.before),
        "after": show(value.after),
        "low": show_end(value.low),
        "high": show_end(value.high),
        "unit": label(unit),
    }
    if value.low <= 0 <= value.high:
        return (
            _(
                "%(what)s: %(before)s %(unit)s before, %(after)s %(unit)s after, no clear difference "
                "(95 %% interval %(low)s to %(high)s %(unit)s). This does not prove they are equal."
            )
            % words
        )
    return (
        _(
            "%(what)s: %(before)s %(unit)s before, %(after)s %(unit)s after "
            "(95 %% interval of the difference %(low)s to %(high)s %(unit)s)."
        )
        % words
    )


def describe_valves(clearances: ClearanceFacts) -> str:
    """Count the valves in range as found and as left."""
    left = [row.left for row in clearances.rows if row.left]
    found = [row.found for row in clearances.rows if row.found]
    sentences = []
    if left:
        good = sum(reading.in_range for reading in left)
        sentences.append(
            ngettext(
                "%(good)s of %(count)s clearance in range.",
                "%(good)s of %(count)s clearances in range.",
                len(left),
            )
            % {"good": good, "count": len(left)}
        )
    if found:
        bad = sum(not reading.in_range for reading in found)
        sentences.append(
            ngettext(
                "%(bad)s was out of range when the bike came in.",
                "%(bad)s were out of range when the bike came in.",
                bad,
            )
            % {"bad": bad}
        )
    return " ".join(sentences)


def opening_at(table: ThrottleTableFacts, grip_pct: float) -> float | None:
    """Return the plate opening at a grip, at the lowest engine speed of the table."""
    for (low, high), (row, following) in zip(
        zip(table.grip_pct, table.grip_pct[1:], strict=False),
        zip(table.plate_pct, table.plate_pct[1:], strict=False),
        strict=False,
    ):
        if low <= grip_pct <= high and row[0] is not None and following[0] is not None:
            return row[0] + (following[0] - row[0]) * (grip_pct - low) / ((high - low) or 1)
    return None


def describe_mode(mode: ModeFacts) -> str:
    """Compare the plate at the start of the grip; it says nothing about torque."""
    before = next((table for table in mode.tables if table.before), None)
    after = next((table for table in mode.tables if not table.before), None)
    if not (mode.changed and before and after):
        return ""
    was, now = opening_at(before, FIRST_SHARE_PCT), opening_at(after, FIRST_SHARE_PCT)
    if was is None or now is None:
        return ""
    return _(
        "%(mode)s: at %(grip)s %% grip the throttle plate opens %(now)s %%, before %(was)s %%. "
        "Plate opening is not torque."
    ) % {
        "mode": mode.mode,
        "grip": format_number(FIRST_SHARE_PCT),
        "now": format_number(now, 1),
        "was": format_number(was, 1),
    }
