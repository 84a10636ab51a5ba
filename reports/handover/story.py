"""What the customer's first page says, from a snapshot: headline, what came in and what is now, road, rides.

Every sentence has fixed parts and values of records; nothing is typed again. What it shortens, later pages
print in full.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from jobs.calc.units.numbers import format_number
from jobs.clearances.facts import CLEARANCES, ClearanceFacts, JudgedReadingFacts
from jobs.comparisons.facts import BandFacts, ComparedValueFacts
from jobs.job.sentences import lower_noun, upper_first
from jobs.job_page.facts import BRIEF
from jobs.mixture.facts import MIXTURE, MixtureFacts
from jobs.parts.facts import PARTS
from jobs.runs.facts import RUNS
from jobs.suspension.facts import SUSPENSION
from jobs.templatetags.facts import measured, quantity
from jobs.throttle.facts import THROTTLE, ModeFacts, ThrottleTableFacts
from jobs.timeline.facts import BIKE_CHANGES
from jobs.tunes.facts import TUNE, RevisionFacts, TuneChangeFacts
from jobs.wishes.facts import WISHES
from reports.handover.snapshot.schema import Snapshot
from reports.handover.snapshot.summary_sentences import clearest_torque

MAX_CLAUSES = 3
FIRST_GRIP_PCT = 10.0
NOTHING_FOR_ROAD = gettext_noop(
    "We recorded no change on this job that affects road approval. "
    "Earlier changes and the bike's condition were not assessed."
)
BEFORE_SETTING_OFF = gettext_noop(
    "the throttle must return to closed by itself with the bars turned fully left and fully right; "
    "the brakes must bite; nothing may leak."
)
CLEAR_VERDICTS = {"more": gettext_noop("higher"), "less": gettext_noop("lower")}
NO_CLEAR_DIFFERENCE = gettext_noop("no clear difference")


@dataclass(frozen=True)
class Topic:
    """One line of what came in and what is in the bike now; ``anchor`` is where it is shown."""

    key: str
    title: str
    before: str
    done: str
    now: str
    anchor: str
    is_open: bool = False  # something still needs attention


@dataclass(frozen=True)
class WishLine:
    """A wish of the customer with its answer, and the sections of the sheet that show it."""

    text: str
    answer: str
    result: str
    sections: tuple[str, ...]


@dataclass(frozen=True)
class Ride:
    """One thing to do or to know on the first rides."""

    lead: str
    text: str


@dataclass(frozen=True)
class NetSetting:
    """A setting of the tune before the work and now."""

    kind: str
    name: str
    before: str
    now: str


def verdict_word(verdict: str) -> str:
    """Return a stored verdict as the customer's pages say it."""
    return _(CLEAR_VERDICTS.get(verdict, NO_CLEAR_DIFFERENCE))


# --- headline


def headline(snapshot: Snapshot) -> str:
    """Return at most three clauses of what the records say; what is not in order comes first."""
    found = list(dict.fromkeys(clauses(snapshot)))[:MAX_CLAUSES]
    if not found:
        work = [item.description for item in snapshot.get(BRIEF).work if item.done]
        found = work[:1] or [_("No work is recorded on this job")]
    text = ", ".join(found)
    return f"{upper_first(text).rstrip('.')}."


def clauses(snapshot: Snapshot) -> Iterator[str]:
    clearances = snapshot.get(CLEARANCES)
    left_out = len(clearances.out) if clearances else 0
    if left_out:
        yield ngettext(
            "%(count)s valve clearance not in range", "%(count)s valve clearances not in range", left_out
        ) % {"count": left_out}
    yield from torque_clause(snapshot)
    yield from throttle_clauses(snapshot)
    if clearances and clearances.rows and not left_out:
        every = all_measured(clearances)
        if clearances.has_left:
            yield _("valves set") if every else _("valves set, some not measured")
        else:
            yield _("valves checked and in range") if every else _("valves checked in part")
    yield from mixture_clause(snapshot)
    parts = snapshot.get(PARTS)
    if parts:
        if len(parts) == 1:
            yield _("%(part)s fitted") % {"part": lower_noun(parts[0].name)}
        else:
            yield ngettext("%(count)s part fitted", "%(count)s parts fitted", len(parts)) % {
                "count": len(parts)
            }
    if suspension_rows(snapshot):
        yield _("suspension adjusted")
    if not snapshot.get(THROTTLE) and net_settings(snapshot):
        yield _("tune changed")
    changes = snapshot.get(BIKE_CHANGES)
    if changes:
        yield lower_noun(changes[0].description)


def torque_clause(snapshot: Snapshot) -> Iterator[str]:
    shown = clearest(snapshot)
    if shown is None:
        return
    band, figure = shown
    ends = {"from": format_number(band.from_rpm), "to": format_number(band.to_rpm)}
    if figure.verdict == "more":
        yield _("more torque from %(from)s to %(to)s rpm") % ends
    elif figure.verdict == "less":
        yield _("less torque from %(from)s to %(to)s rpm") % ends
    else:
        yield _("no clear difference in torque")


def throttle_clauses(snapshot: Snapshot) -> Iterator[str]:
    for mode in changed_modes(snapshot):
        opening = first_opening(mode)
        if opening and opening[0] != opening[1]:
            is_less = opening[1] < opening[0]
            text = _("%(mode)s opens less at first") if is_less else _("%(mode)s opens more at first")
            yield text % {"mode": mode.mode}


def mixture_clause(snapshot: Snapshot) -> Iterator[str]:
    now = mixture_before_and_now(snapshot)[1]
    if now and now.result and now.result.get("cells_measured"):
        measured_cells, on_target = now.result["cells_measured"], now.result["cells_on_target"]
        is_on_target = measured_cells == on_target
        yield _("mixture on target") if is_on_target else _("mixture partly on target")


def deck(snapshot: Snapshot) -> list[str]:
    """Return what the headline leaves open: peak power, what was not measured, and the road."""
    found = [text for text in (peak_sentence(snapshot), not_measured_sentence(snapshot)) if text][:1]
    if snapshot.notices.state == "causes":
        found.append(_("It may no longer be road legal: ask first."))
    elif snapshot.notices.state == "track":
        found.append(_("For track use only."))
    return found


def peak_sentence(snapshot: Snapshot) -> str:
    overall, units = snapshot.overall, snapshot.shop.units
    figures = chain.from_iterable(band.figures for band in overall.bands[:1]) if overall else ()
    for figure in figures:
        if figure.quantity == "power" and figure.label.startswith("Peak"):
            shown = measured(figure, units)
            texts = {
                "more": _("Peak power is higher: %(after)s %(unit)s now, %(before)s %(unit)s before."),
                "less": _("Peak power is lower: %(after)s %(unit)s now, %(before)s %(unit)s before."),
            }
            unclear = _(
                "Peak power shows no clear difference: %(after)s %(unit)s now, %(before)s %(unit)s before."
            )
            return texts.get(figure.verdict, unclear) % shown
    return ""


def not_measured_sentence(snapshot: Snapshot) -> str:
    if snapshot.present and (snapshot.present.reason or snapshot.present.since):
        return snapshot.present.reason or _(
            "Some changes were made after the last dyno run and not measured."
        )
    return ""


# --- the wishes; what came in, what is now


def wish_lines(snapshot: Snapshot) -> list[WishLine]:
    """Return each wish with its answer; whose words an answer is without a record is said."""
    lines = []
    for wish in snapshot.get(WISHES):
        answer = wish.answer or _("No answer is recorded.")
        if wish.answer and wish.answered_by and not wish.records:
            answer = _("%(answer)s (words of %(person)s)") % {"answer": answer, "person": wish.answered_by}
        sections = dict.fromkeys(record.printed for record in wish.records)
        lines.append(WishLine(wish.text, answer, wish.result_label, tuple(sections)))
    return lines


def topics(snapshot: Snapshot) -> list[Topic]:
    """Return what the records hold of the bike before the work and now, the measured first."""
    found = [
        *clearance_topics(snapshot.get(CLEARANCES)),
        *torque_topics(snapshot),
        *throttle_topics(snapshot),
        *mixture_topics(snapshot),
        *setting_topics(snapshot),
        *part_topics(snapshot),
        *suspension_topics(snapshot),
        *change_topics(snapshot),
    ]
    return sorted(found, key=lambda topic: not topic.is_open)


def clearance_topics(clearances: ClearanceFacts | None) -> Iterator[Topic]:
    if clearances is None or not clearances.rows:
        return
    found = [row.found for row in clearances.rows if row.found]
    last = [row.left or row.found for row in clearances.rows]
    latest = [reading for reading in last if reading]
    shims = sum(not row.stays for plan in clearances.plans if plan.booked_out_at for row in plan.rows)
    if clearances.has_left:
        work = _("Set and measured again")
        if shims:
            work = ngettext("%(count)s shim changed", "%(count)s shims changed", shims) % {"count": shims}
    else:
        work = _("Measured; nothing was set")
    now = describe_readings(latest)
    yield Topic(
        "clearances",
        _("Valve clearances"),
        describe_readings(found) if found else _("not measured"),
        work,
        now if clearances.has_left else _("As found: %(found)s") % {"found": now},
        "clearances",
        is_open=bool(clearances.out or clearances.not_measured),
    )


def describe_readings(readings: Sequence[JudgedReadingFacts]) -> str:
    """Return how many readings are in range, and how the others are off."""
    judged = [reading for reading in readings if reading.verdict]
    if not judged:
        return ngettext(
            "%(count)s measured, no range on record", "%(count)s measured, no range on record", len(readings)
        ) % {"count": len(readings)}
    inside = sum(reading.in_range for reading in judged)
    on_target = sum(reading.verdict == "on target" for reading in judged)
    tight = sum(reading.verdict in ("below range", "tight") for reading in judged)
    loose = sum(reading.verdict in ("above range", "loose") for reading in judged)
    counts = {
        _("%(count)s of %(all)s too tight"): tight,
        _("%(count)s of %(all)s too loose"): loose,
        _("%(count)s of %(all)s not certain"): len(judged) - inside - tight - loose,
    }
    named = [text % {"count": count, "all": len(judged)} for text, count in counts.items() if count]
    if named:
        return ", ".join(named)
    values = {"all": len(judged), "count": on_target}
    if on_target == len(judged):
        is_one = len(judged) == 1
        return _("In range and on target") if is_one else _("All %(all)s in range and on target") % values
    text = _("All %(all)s in range, %(count)s on target") if on_target else _("All %(all)s in range")
    return text % values


def all_measured(clearances: ClearanceFacts) -> bool:
    return not clearances.not_measured


def clearest(snapshot: Snapshot) -> tuple[BandFacts, ComparedValueFacts] | None:
    """Return the band and its mean torque that the first page tells of."""
    return clearest_torque(snapshot.overall)


def torque_topics(snapshot: Snapshot) -> Iterator[Topic]:
    shown = clearest(snapshot)
    if shown is None:
        return
    band, figure = shown
    value = measured(figure, snapshot.shop.units)
    texts = {
        "more": _("%(after)s %(unit)s, higher by %(difference)s (%(interval)s)"),
        "less": _("%(after)s %(unit)s, lower by %(difference)s (%(interval)s)"),
    }
    unclear = _("%(after)s %(unit)s, no clear difference (%(interval)s)")
    is_assumed = snapshot.overall is not None and snapshot.overall.assumed_pct is not None
    interval = _("interval from an assumed scatter %(ends)s") if is_assumed else _("95 %% interval %(ends)s")
    shown_value = {
        **value,
        "difference": value["difference"].removeprefix("\N{MINUS SIGN}"),
        "interval": interval % {"ends": value["interval"]},
    }
    yield Topic(
        "comparisons",
        _("Torque, %(from)s to %(to)s rpm")
        % {"from": format_number(band.from_rpm), "to": format_number(band.to_rpm)},
        _("%(before)s %(unit)s on average") % value,
        _("Measured on the dyno"),
        texts.get(figure.verdict, unclear) % shown_value,
        "power",
    )


def changed_modes(snapshot: Snapshot) -> list[ModeFacts]:
    throttle = snapshot.get(THROTTLE)
    return [mode for mode in throttle.modes if mode.changed] if throttle else []


def first_opening(mode: ModeFacts) -> tuple[float, float] | None:
    """Return the plate at the first tenth of grip before the work and now [%], mean over engine speed."""
    before = next((table for table in mode.tables if table.before), None)
    now = next((table for table in mode.tables if not table.before), None)
    if before is None or now is None:
        return None
    return plate_at(before, FIRST_GRIP_PCT), plate_at(now, FIRST_GRIP_PCT)


def plate_at(table: ThrottleTableFacts, grip_pct: float) -> float:
    """Return the plate at a grip, mean over engine speed [%]."""
    import numpy as np

    means = [np.mean([value for value in row if value is not None] or [np.nan]) for row in table.plate_pct]
    return round(float(np.interp(grip_pct, table.grip_pct, means)), 1)


def throttle_topics(snapshot: Snapshot) -> Iterator[Topic]:
    for mode in changed_modes(snapshot):
        opening = first_opening(mode)
        if opening is None:
            continue
        before, now = (
            {"plate": format_number(plate, 1), "grip": format_number(FIRST_GRIP_PCT)} for plate in opening
        )
        yield Topic(
            "throttle",
            _("Throttle response, %(mode)s") % {"mode": mode.mode},
            _("Plate opened %(plate)s %% at %(grip)s %% grip") % before,
            _("New throttle table"),
            _("Plate opens %(plate)s %% at %(grip)s %% grip") % now,
            "modes",
        )


def mixture_before_and_now(snapshot: Snapshot) -> tuple[MixtureFacts | None, MixtureFacts | None]:
    """Return the last study made before the first change, and the last one made after the last change."""
    times = change_times(snapshot)
    made = {run.name: run.made_at or "" for run in snapshot.get(RUNS)}
    before = now = None
    for study in snapshot.get(MIXTURE):
        at = [made[name] for name in study.runs if made.get(name)]
        if not study.result or not at:
            continue
        if not times or max(at) <= times[0]:
            before = study
        elif min(at) >= times[-1]:
            now = study
    return (before, now) if times else (None, before)


def change_times(snapshot: Snapshot) -> list[str]:
    """Return when what the mixture depends on was changed, in order: parts, tune, fuel and the like."""
    tune = snapshot.get(TUNE)
    revisions = [revision for revision in (tune.revisions if tune else ()) if not revision.came_with_bike]
    times = [
        *(part.fitted_at for part in snapshot.get(PARTS)),
        *(revision.loaded_at for revision in revisions),
        *(change.at for change in snapshot.get(BIKE_CHANGES)),
    ]
    return sorted(time for time in times if time)


def mixture_topics(snapshot: Snapshot) -> Iterator[Topic]:
    before, now = mixture_before_and_now(snapshot)
    if before or now:
        yield Topic(
            "mixture",
            _("Mixture"),
            describe_mixture(before),
            _("Measured on the dyno"),
            describe_mixture(now),
            "mixture",
            is_open=bool(now and now.grave),
        )


def describe_mixture(study: MixtureFacts | None) -> str:
    """Return how many cells are on target and how lean the leanest is."""
    if study is None or not study.result:
        return _("not measured")
    off = [value for row in study.result["off"] for value in row if value is not None]
    cells, on_target = study.result.get("cells_measured", len(off)), study.result.get("cells_on_target", 0)
    lean = max(off, default=0.0)
    values = {"count": on_target, "all": cells, "share": format_number(100 * lean)}
    if on_target < cells and lean >= 0.01:
        return _("%(count)s of %(all)s cells on target; up to %(share)s %% lean of target") % values
    return _("%(count)s of %(all)s cells on target") % values


def net_settings(snapshot: Snapshot) -> list[NetSetting]:
    """Return each setting that the tune in the bike changes, from its first value to its last."""
    tune = snapshot.get(TUNE)
    if tune is None:
        return []
    by_setting: dict[tuple[str, str, str], list[TuneChangeFacts]] = {}
    for revision in ancestry(tune.revisions):
        for change in revision.changes:
            key = (change.kind, change.detail.casefold(), change.unit)
            by_setting.setdefault(key, []).append(change)
    return [
        NetSetting(
            steps[0].kind,
            upper_first(_(steps[0].kind)) + (f", {steps[0].detail}" if steps[0].detail else ""),
            f"{steps[0].from_} {steps[0].unit}".strip(),
            f"{steps[-1].to} {steps[-1].unit}".strip(),
        )
        for steps in by_setting.values()
        if steps[0].from_ != steps[-1].to
    ]


def ancestry(revisions: Sequence[RevisionFacts]) -> list[RevisionFacts]:
    """Return the revision in the bike after all that it is based on."""
    by_label = {revision.label: revision for revision in revisions}
    line: list[RevisionFacts] = []
    found = next((revision for revision in revisions if revision.in_bike), None)
    while found is not None and found not in line:
        line.insert(0, found)
        found = by_label.get(found.made_from)
    return line


def setting_topics(snapshot: Snapshot) -> Iterator[Topic]:
    for setting in net_settings(snapshot):
        if changed_modes(snapshot) and setting.kind.casefold().startswith("throttle table"):
            continue
        before = setting.before or _("not recorded")
        yield Topic("tune", setting.name, before, _("Tune changed"), setting.now, "bike-now")


def part_topics(snapshot: Snapshot) -> Iterator[Topic]:
    for part in snapshot.get(PARTS):
        now = _("%(part)s (race use only)") % {"part": part.name} if part.race_only else part.name
        was = part.replaces or _("not recorded")
        yield Topic("parts", changed_by(part.changes) or _("Part"), was, _("Part fitted"), now, "bike-now")


def changed_by(changes: Sequence[str]) -> str:
    return upper_first(_(changes[0])) if changes and changes[0] else ""


def suspension_rows(snapshot: Snapshot) -> list[tuple[str, str, str]]:
    """Return the settings that were changed: name, before, now."""
    suspension = snapshot.get(SUSPENSION)
    if suspension is None or len(suspension.settings) < 2:
        return []
    rows = []
    for group in suspension.groups:
        for row in group.rows:
            before, now = (quantity(row.figures[at], snapshot.shop.units) for at in (0, -1))
            if before != now:
                end = "" if row.name.startswith(group.title) else f"{upper_first(_(group.title))}, "
                rows.append((f"{end}{_(row.name)}", before, now))
    return rows


def suspension_topics(snapshot: Snapshot) -> Iterator[Topic]:
    rows = suspension_rows(snapshot)
    if rows:
        first = rows[0]
        more = _("; %(count)s more") % {"count": len(rows) - 1} if len(rows) > 1 else ""
        yield Topic(
            "suspension",
            _("Suspension"),
            f"{first[0]} {first[1]}",
            ngettext("%(count)s value changed", "%(count)s values changed", len(rows)) % {"count": len(rows)},
            f"{first[2]}{more}",
            "bike-now",
        )


def change_topics(snapshot: Snapshot) -> Iterator[Topic]:
    for change in snapshot.get(BIKE_CHANGES):
        kind = upper_first(_(change.kind)) if change.kind else _("Other change")
        yield Topic(
            "bike_changes", kind, _("not recorded"), _("Changed"), change.description, "annex-bike_changes"
        )


# --- the road and the first rides


def road_answer(snapshot: Snapshot) -> str:
    """Return the answer to whether the bike may be ridden on the road, as far as the shop can give one."""
    if snapshot.notices.state == "track":
        return _("Not on public roads: track use only.")
    if snapshot.notices.state == "causes":
        return _("Ask before you do.")
    return _(NOTHING_FOR_ROAD)


def first_rides(snapshot: Snapshot, limit: int = 5) -> list[Ride]:
    """Return what to do and to watch on the first rides, at most so many lines."""
    call = _("Stop and call us.")
    if snapshot.shop.phone:
        call = _("Stop and call us: %(phone)s.") % {"phone": snapshot.shop.phone}
    watch = [split_caution(text) for text in snapshot.notices.cautions]
    room = limit - 2
    if len(watch) > room:
        left = len(watch) - room + 1
        more = ngettext("%(count)s more point under Safety.", "%(count)s more points under Safety.", left)
        watch = [*watch[: room - 1], Ride(_("More to watch:"), more % {"count": left})]
    before = Ride(_("Before setting off:"), _(BEFORE_SETTING_OFF))
    return [before, *watch, Ride(_("If anything feels wrong:"), call)]


def split_caution(text: str) -> Ride:
    """Return a caution with what it is about in front, if it says so."""
    lead, colon, rest = text.partition(": ")
    return Ride(f"{lead}:", rest) if colon and len(lead) < 40 else Ride("", text)


def service_lines(snapshot: Snapshot) -> list[str]:
    """Return what is due next, from the note and the intervals on record."""
    service = snapshot.next_service
    return [line for line in (*service.note.splitlines(), *service.derived) if line.strip()]


def untested_lines(snapshot: Snapshot) -> list[str]:
    """Return what was not tested, in short."""
    note = [line for line in snapshot.not_tested.note.splitlines() if line.strip()]
    return [
        *note,
        *(
            group.text.rstrip(":") + "." if group.events else group.text
            for group in snapshot.not_tested.derived
        ),
    ]
