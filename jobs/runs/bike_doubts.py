"""What is expected of a job's bike, so that the file of another one is questioned."""

from statistics import median

from jobs.calc.dyno.other_bike import ExpectedBike, find_bike_doubts, top_value
from jobs.calc.run_file import RunFile
from jobs.calc.run_file.proposals import measured_ratio
from jobs.models import Job, Run
from jobs.runs.channel_files import load_channels
from jobs.suspension.engine_ratio import computed_gearing

MAX_GEARS = 8
RUNS_LOOKED_AT = 6
RATIO_CHANNELS = ("engine_speed_rpm", "road_speed_kmh", "roller_speed_kmh")


def expected_bike(job: Job, without: str = "") -> ExpectedBike:
    """Return what the bike's engine and its earlier runs tell; ``without`` is the hash of a file left out."""
    runs = Run.objects.filter(job__bike=job.bike_id, status=Run.Status.READ, set_aside=False)
    earlier = list(runs.exclude(sha256=without).order_by("-made_at")[:RUNS_LOOKED_AT])
    sweeps = [run for run in earlier if run.kind == Run.Kind.SWEEP]
    powers = [high for run in sweeps if (high := highest(run, "power_kw"))]
    speeds = [high for run in earlier if (high := highest(run, "engine_speed_rpm"))]
    spec = job.bike.engine_spec
    return ExpectedBike(
        rev_limit_rpm=spec.rev_limit_rpm if spec else None,
        seen_rpm=median(speeds) if speeds else None,
        power_kw=median(powers) if powers else None,
        ratios=computed_ratios(job) | measured_ratios(earlier),
    )


def highest(run: Run, channel: str) -> float | None:
    try:
        return top_value(load_channels(run, (channel,)), channel)
    except ValueError:
        return None  # its stored channels are damaged


def computed_ratios(job: Job) -> dict[int, float]:
    found = {}
    for gear in range(1, MAX_GEARS + 1):
        try:
            found[gear] = computed_gearing(job, gear).rpm_per_kmh
        except ValueError:
            break
    return found


def measured_ratios(runs: list[Run]) -> dict[int, float]:
    """Return the ratio of each gear by the latest run in it that has both speeds."""
    found: dict[int, float] = {}
    for run in runs:
        if run.gear and run.gear not in found and "engine_speed_rpm" in run.channel_names:
            try:
                ratio = measured_ratio(load_channels(run, RATIO_CHANNELS))
            except ValueError:
                continue
            if ratio:
                found[run.gear] = ratio
    return found


def bike_doubts(content: RunFile, kind: str, expected: ExpectedBike) -> tuple[str, ...]:
    """Return what of a file does not fit the bike."""
    ratio = measured_ratio(content.channels)
    return find_bike_doubts(content.channels, ratio, expected, is_sweep=kind == Run.Kind.SWEEP)
