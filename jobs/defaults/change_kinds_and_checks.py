"""Default checks and tune change types of a new shop, which the owner can edit.

Cautions and effects: rule of thumb, no published source; local law and licensed practice overrule them.
"""

from jobs.models import CheckItem, TuneChangeKind

CHECKS = {
    "after_valves": [
        (
            "Engine cold when the clearances were measured as left",
            "Clearances move with heat; measure cold, as the maker says.",
        ),
        (
            "Cam timing marks line up, chain or belt tensioner released",
            "A tooth out and the valves meet the pistons.",
        ),
        (
            "Engine turned by hand in the running direction, without a stop",
            "Never turn it backwards: the cam chain may jump.",
        ),
        (
            "Engine turned over twice by hand before it is started",
            "If it stops hard, stop: find out why before anything else.",
        ),
        ("No tool, cloth or shim left inside, covers and plugs torqued", ""),
    ],
    "before_roller": [
        (
            "Tyre sound, pressure set, its speed symbol allows the speed of the run",
            "A tyre that fails throws its tread at whoever stands behind.",
        ),
        ("Stones out of the tread, chain tension and sprockets looked at", ""),
        ("Straps fitted and tight, front wheel clamped", "Look at the straps again after the first run."),
        (
            "Nobody behind or beside the bike, nothing loose near roller and tyre",
            "The roller turns on after the throttle is closed: keep hands, hair and clothes off.",
        ),
        (
            "Exhaust extraction on, air coming in, carbon monoxide alarm on",
            "Carbon monoxide has no smell and kills.",
        ),
        ("Ear and eye protection on", ""),
        (
            "Fire extinguisher within reach, no fuel leak",
            "Fuel on a hot exhaust burns at once: stop, fuel off, power off.",
        ),
        ("Oil and coolant at their levels", ""),
        ("Engine started and listened to, no leak, engine warm", "Stand clear of chain, wheel and fan."),
        (
            "Throttle returns to closed by itself, engine off and running",
            "Throttle must return to closed: check it with the engine off and running before the bike moves.",
        ),
        ("Emergency stop and kill switch tried", ""),
    ],
    "before_handover": [
        (
            "Throttle returns to closed at every bar position, engine off and running",
            "Throttle must return to closed: check it with the engine off and running before the bike moves.",
        ),
        ("Idle speed steady, at what was agreed", "A raised idle pushes the bike on at a closed throttle."),
        ("Brakes, lights and horn tried", ""),
        ("Wheel nuts, axle, sprockets and chain at their torque", ""),
        ("Tyre pressures set cold", ""),
        ("No leak of fuel, oil or coolant after the test ride", ""),
        ("What was changed and not tested told to the customer", "Whoever rides it next has to know, too."),
    ],
}

# What a check needs on the bike, by its text.
NEEDS = {"Brakes, lights and horn tried": "light, headlight, headlamp, indicator, horn"}

# name, unit, may affect road use, effect as printed, caution for the tuner, caution for the rider
CHANGE_KINDS = [
    (
        "idle speed",
        "1/min",
        False,
        "",
        "A raised idle pushes the bike on at a closed throttle.",
        "The idle is not where the maker had it: a raised one pushes the bike on at a closed throttle.",
    ),
    (
        "rev limiter",
        "1/min",
        True,
        "A changed rev limit may take the engine out of the state it was approved in.",
        "Above the maker's limit valves may float and bolts fail.",
        "The engine's limit is not the maker's: the red line no longer shows it.",
    ),
    (
        "top-speed limiter",
        "km/h",
        True,
        "A changed top-speed limiter may end the bike's approval for the road.",
        "Tyres, brakes and insurance may not be meant for the speed.",
        "The bike may go faster than tyres, brakes and insurance are meant for: keep to them.",
    ),
    (
        "sensor feedback",
        "",
        True,
        "With sensor feedback off, exhaust emissions may no longer meet the law.",
        "Without feedback the mixture no longer mends itself: look at it over the whole range.",
        "The engine no longer mends its own mixture: have it checked after any change of fuel or parts.",
    ),
    (
        "throttle table",
        "",
        False,
        "",
        "Throttle must return to closed: check with the engine off and running before the bike moves.",
        "The throttle answers otherwise: ride gently at first, and see before each ride that it closes.",
    ),
    (
        "throttle blade at closed grip",
        "%",
        False,
        "",
        "A blade held open pushes the bike on at a closed throttle.",
        "With the grip closed the bike slows less than before: brake earlier until it is familiar.",
    ),
    (
        "fuel",
        "%",
        True,
        "A changed mixture may no longer meet the exhaust emission limits.",
        "Lean under load overheats pistons, valves and catalyst.",
        "The mixture fits the fuel, filter and exhaust on the bike now: with others it may run too lean.",
    ),
    (
        "ignition",
        "°",
        True,
        "Changed ignition may no longer meet the exhaust emission limits.",
        "Too much advance knocks; knock breaks pistons, often unheard on the dyno.",
        "The ignition fits the fuel it was set with: with a lesser one the engine may knock and break.",
    ),
    (
        "cooling-fan threshold",
        "°C",
        False,
        "",
        "A fan that starts later leaves less margin in traffic.",
        "The fan starts at another temperature: watch the gauge in traffic, and stop before it reads hot.",
    ),
    (
        "quick-shift",
        "ms",
        False,
        "",
        "Try it at low load first; a cut that is too short hurts the gearbox.",
        "Gears change with another cut than before: try it at part throttle first.",
    ),
    (
        "engine braking",
        "%",
        False,
        "",
        "Less engine braking makes for longer stops at a closed throttle: tell the rider.",
        "The bike slows otherwise at a closed throttle: brake earlier until it is familiar.",
    ),
    (
        "traction control or wheelie control",
        "",
        True,
        "Changed rider aids may affect how the bike is approved and insured.",
        "The rider must know that the aid acts otherwise than before.",
        "A rider aid acts otherwise than before: try it where there is room before relying on it.",
    ),
    (
        "secondary air system",
        "",
        True,
        "Without secondary air, exhaust emissions may no longer meet the law.",
        "",
        "",
    ),
    (
        "exhaust valve",
        "",
        True,
        "A changed exhaust valve may make the bike louder than it is approved for.",
        "",
        "",
    ),
    (
        "gear-dependent torque limit",
        "%",
        True,
        "More torque in low gears may end the bike's approval for the road.",
        "The front may lift sooner: tell the rider.",
        "In low gears the front wheel may lift sooner: open the throttle gently.",
    ),
    (
        "something else",
        "",
        True,
        "This change may affect whether the bike may be ridden on the road.",
        "",
        "",
    ),
]

AS_BUILT = {"sensor feedback": "on", "secondary air system": "on"}
# The value of the engine spec that a change replaces.
SETS = {"idle speed": TuneChangeKind.Sets.IDLE, "rev limiter": TuneChangeKind.Sets.REV_LIMIT}
STEP = 10  # between places in a list, so that the owner can put others between


def create_default_lists(database: str = "default") -> None:
    """Create default checks and tune change types, if the shop has none of them."""
    if not CheckItem.objects.using(database).exists():
        for name, rows in CHECKS.items():
            for place, (text, caution) in enumerate(rows, start=1):
                needs, order = NEEDS.get(text, ""), place * STEP
                CheckItem(list=name, text=text, caution=caution, needs=needs, order=order).save(
                    using=database
                )
    if not TuneChangeKind.objects.using(database).exists():
        for place, (name, unit, affects, effect, caution, for_rider) in enumerate(CHANGE_KINDS, start=1):
            TuneChangeKind(
                name=name,
                unit=unit,
                affects_road_use=affects,
                road_use_effect=effect,
                inform=affects,
                as_built=AS_BUILT.get(name, ""),
                sets=SETS.get(name, ""),
                caution=caution,
                customer_caution=for_rider,
                order=place * STEP,
            ).save(using=database)
