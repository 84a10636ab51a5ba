"""Default checks and tune change types of a new shop, which the owner can edit.

Cautions and effects: rule of thumb, no published source; local law and licensed practice overrule them.
"""

from jobs.models import CheckItem, TuneChangeKind

CHECKS = {
    "after_valves": [
        (
            "Engine cold when the clearances were measured as left",
            "Clearances change with heat. Measure cold, as the manufacturer specifies.",
        ),
        (
            "Cam timing marks line up, chain or belt tensioner released",
            "One tooth out and the valves can hit the pistons.",
        ),
        (
            "Engine turned by hand in the running direction, no hard stop",
            "Never turn it backwards: the cam chain may jump.",
        ),
        (
            "Engine turned over twice by hand before it is started",
            "Do not force it past a hard stop. Find out why before anything else.",
        ),
        ("No tool, cloth or shim left inside, covers and plugs torqued", ""),
    ],
    "before_roller": [
        (
            "Tyre undamaged, pressure set, speed rating high enough for the run",
            "A failing tyre throws its tread at anyone standing behind.",
        ),
        ("Stones removed from the tread, chain tension and sprockets checked", ""),
        ("Straps fitted and tight, front wheel clamped", "Check the straps again after the first run."),
        (
            "Nobody behind or beside the bike, nothing loose near the roller and tyre",
            "The roller keeps turning after the throttle is closed. Keep hands, hair and clothes away.",
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
        ("Emergency stop and kill switch tested", ""),
    ],
    "before_handover": [
        (
            "Throttle returns to closed at every bar position, engine off and running",
            "Throttle must return to closed: check it with the engine off and running before the bike moves.",
        ),
        ("Idle steady at the agreed speed", "A raised idle keeps the bike pulling with the throttle closed."),
        ("Brakes, lights and horn tested", ""),
        ("Wheel nuts, axle and sprockets torqued, chain adjusted", ""),
        ("Tyre pressures set cold", ""),
        ("No leak of fuel, oil or coolant after the test ride", ""),
        ("Customer told what was changed and what was not tested", "Tell the next rider as well."),
    ],
}

# What a check needs on the bike, by its text.
NEEDS = {"Brakes, lights and horn tested": "light, headlight, headlamp, indicator, horn"}

# name, unit, may affect road use, effect as printed, caution for the tuner, caution for the rider
CHANGE_KINDS = [
    (
        "idle speed",
        "rpm",
        False,
        "",
        "A raised idle keeps the bike pulling with the throttle closed.",
        "The idle speed is not standard. If it is raised, the bike pushes on more with the throttle closed.",
    ),
    (
        "rev limiter",
        "rpm",
        True,
        "A changed rev limit may take the engine out of its approved state.",
        "Above the manufacturer's limit valves may float and bolts may fail.",
        "The rev limit is not the manufacturer's. The red line on the rev counter no longer shows it.",
    ),
    (
        "top-speed limiter",
        "km/h",
        True,
        "A changed top-speed limiter may end the bike's approval for the road.",
        "Tyres, brakes and insurance may not be meant for the speed.",
        "The bike may go faster than its tyres, brakes and insurance allow. Stay within their limits.",
    ),
    (
        "sensor feedback",
        "",
        True,
        "With sensor feedback off, exhaust emissions may no longer meet the law.",
        "Without feedback the ECU no longer corrects the mixture. Check it over the whole range.",
        "The engine no longer corrects its own mixture. Have it checked after any change of fuel or parts.",
    ),
    (
        "throttle table",
        "",
        False,
        "",
        "Throttle must return to closed: check with the engine off and running before the bike moves.",
        "The throttle responds differently. Ride gently at first and check before every ride that it closes.",
    ),
    (
        "throttle plate at closed grip",
        "%",
        False,
        "",
        "A throttle plate held open keeps the bike pulling with the throttle closed.",
        "With the throttle closed the bike slows down less than before. "
        "Brake earlier until you are used to it.",
    ),
    (
        "fuel",
        "%",
        True,
        "A changed mixture may no longer meet the exhaust emission limits.",
        "Lean under load overheats pistons, valves and catalyst.",
        "The mixture is set for the fuel, filter and exhaust now on the bike. "
        "With others it may run too lean.",
    ),
    (
        "ignition",
        "°",
        True,
        "Changed ignition may no longer meet the exhaust emission limits.",
        "Too much advance knocks; knock breaks pistons, often unheard on the dyno.",
        "The ignition is set for the fuel used. With lower-grade fuel the engine may knock and fail.",
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
        "The quickshifter cut has changed. Try it at part throttle first.",
    ),
    (
        "engine braking",
        "%",
        False,
        "",
        "Less engine braking means longer stops with the throttle closed. Tell the rider.",
        "The bike slows down differently with the throttle closed. Brake earlier until you are used to it.",
    ),
    (
        "traction control or wheelie control",
        "",
        True,
        "Changed rider aids may affect how the bike is approved and insured.",
        "Tell the rider that the aid works differently than before.",
        "A rider aid works differently than before. Try it where there is room before you rely on it.",
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
