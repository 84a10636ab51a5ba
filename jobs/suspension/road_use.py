"""What sprockets, ride height and tyres may mean for road use, by the settings of all jobs of the bike.

Effects: common practice, no source. Speed symbols: see jobs.calc.chassis.gearing.
"""

from collections.abc import Iterator, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.calc.chassis.gearing import TyreSize
from jobs.calc.units.numbers import format_number
from jobs.job.results import JobResults
from jobs.job.road_use import RoadCause
from jobs.job.sentences import upper_first
from jobs.models import SuspensionSetting
from jobs.suspension.gearing import effective_sprockets, gear_speeds, parse_tyre, tyre_limit_kmh
from jobs.suspension.settings import ENDS, field_label
from jobs.tunes.set_speeds import SetSpeed, rev_limit_in_bike
from workshop.models import Bike
from workshop.units.shop_units import format_for_shop

HEIGHTS = tuple(f"{end}_height" for end in ENDS)
GEARING = gettext_noop(
    "With changed gearing, speedometer, noise and emissions may differ from what was approved."
)
HEIGHT = gettext_noop(
    "A changed ride height may alter geometry, stand and headlamp aim: check whether the papers limit it."
)
ASK_TYRE_MAKER = gettext_noop("It may not be meant for that speed: ask the manufacturers of tyre and bike.")


def bike_settings(results: JobResults) -> list[SuspensionSetting]:
    """Return the settings of all jobs of the bike in order of time."""
    return sorted(results.bike_rows(SuspensionSetting), key=lambda setting: (setting.set_at, setting.pk))


def setting_causes(results: JobResults) -> list[RoadCause]:
    return [*gearing_causes(results), *height_causes(results), *tyre_causes(results)]


def gearing_causes(results: JobResults) -> Iterator[RoadCause]:
    """Yield a cause if the sprockets are not those of the engine's entry, or not those read first."""
    bike, spec = results.job.bike, results.job.bike.engine_spec
    own = effective_sprockets(bike)
    read = [
        ((setting.front_sprocket or own[0], setting.rear_sprocket or own[1]), setting)
        for setting in results.get(bike_settings)
        if setting.front_sprocket or setting.rear_sprocket
    ]
    as_built = (spec.front_sprocket, spec.rear_sprocket) if spec else (None, None)
    now = read[-1][0] if read else own
    before = as_built if all(as_built) else read[0][0] if read else now
    if now == before or not all((*now, *before)):
        return
    setting = next((setting for pair, setting in read if pair == now), None)
    values = {"now": f"{now[0]}/{now[1]}", "before": f"{before[0]}/{before[1]}"}
    yield RoadCause(
        subject=_("Gearing, sprockets %(now)s instead of %(before)s") % values,
        effect=_(GEARING),
        job=setting.job if setting else None,
        at=setting.set_at if setting else None,
    )


def height_causes(results: JobResults) -> Iterator[RoadCause]:
    """Yield a cause for each height that differs from the one read first."""
    for name in HEIGHTS:
        read = [setting for setting in results.get(bike_settings) if getattr(setting, name)]
        values = [" ".join(getattr(setting, name).split()) for setting in read]
        if not read or values[0].casefold() == values[-1].casefold():
            continue
        shown = {"setting": upper_first(_(field_label(name))), "now": values[-1], "before": values[0]}
        subject = _("%(setting)s %(now)s (%(before)s when first read)") % shown
        yield RoadCause(subject, _(HEIGHT), read[-1].job, read[-1].set_at, inform=False)


def tyre_causes(results: JobResults) -> Iterator[RoadCause]:
    """Yield a cause for each tyre whose speed symbol is below the speed that the bike may reach."""
    bike, shop = results.job.bike, results.shop
    top_kmh, source = top_speed(bike, results.get(bike_settings), results.get(rev_limit_in_bike))
    for end in ENDS:
        tyre = parse_tyre(bike, end)
        limit = tyre_limit_kmh(tyre)
        if tyre is None or limit is None or top_kmh is None or top_kmh <= limit:
            continue
        allowed, reached = (
            format_for_shop(limit, "speed_rating", shop),
            format_for_shop(top_kmh, "speed", shop),
        )
        subject = (
            _("Front tyre, speed symbol %(symbol)s")
            if end == "front"
            else _("Rear tyre, speed symbol %(symbol)s")
        )
        values = {"limit": describe_limit(tyre, allowed), "speed": reached, "source": source}
        effect = _("%(limit)s; the bike may reach about %(speed)s (%(source)s).") % values
        yield RoadCause(
            subject=subject % {"symbol": tyre.speed_symbol},
            effect=f"{effect} {_(ASK_TYRE_MAKER)}",
            job=None,
        )


def describe_limit(tyre: TyreSize, allowed: str) -> str:
    text = (
        _("It promises %(speed)s, or more by its manufacturer")
        if tyre.is_open_ended
        else _("It is rated for %(speed)s")
    )
    return text % {"speed": allowed}


def top_speed(
    bike: Bike, settings: Sequence[SuspensionSetting], limit: SetSpeed | None
) -> tuple[float | None, str]:
    """Return the speed that the bike may reach [km/h] and where it comes from; None if not known.

    The papers come first, since the rev limit in top gear may lie above what the engine can drive; they do
    not know a rev limit that a tune has raised.
    """
    speeds, papers = gear_speeds(bike, settings, limit), bike.top_speed_kmh
    at_limit = speeds.gears[-1].speeds_kmh[-1] if speeds else None
    built_rpm = bike.engine_spec.rev_limit_rpm if bike.engine_spec else None
    is_raised = limit is not None and limit.rpm > (built_rpm or limit.rpm)
    if papers and not (is_raised and at_limit and at_limit > papers):
        return papers, _("by the bike's papers")
    if at_limit is None or limit is None:
        return None, ""
    if is_raised:
        values = {"speed": format_number(limit.rpm), "source": limit.source}
        text = _("rev limit of %(speed)s rpm by %(source)s in top gear, by sprockets and tyre size")
        return at_limit, text % values
    return at_limit, _("rev limit in top gear, by sprockets and tyre size")
