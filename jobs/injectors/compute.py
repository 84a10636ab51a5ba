"""Injector duty of each run that recorded the opening time."""

from dataclasses import dataclass

from jobs.calc.mixture.injector import MAX_DUTY_PCT, InjectorDuty, find_injector_duty
from jobs.job.results import JobResults
from jobs.models import Run
from jobs.runs.channel_files import load_channels
from workshop.models import EngineSpec

NEEDED = ("engine_speed_rpm", "injector_time_ms")
# Turns of the crank from one opening to the next, by the choice on the page.
TURNS = {"cycle": 2.0, "turn": 1.0}


@dataclass(frozen=True, eq=False)
class RunDuty:
    """Injector duty of a run, or the reason why there is none."""

    run: Run
    result: InjectorDuty | None
    problem: str = ""

    @property
    def highest_pct(self) -> float | None:
        return float(self.result.duty_pct[self.result.highest]) if self.result else None

    @property
    def verdict(self) -> str:
        if self.highest_pct is None:
            return self.problem
        if self.highest_pct >= 100:
            return "open all the time: more pulse width adds no fuel"
        if self.highest_pct > MAX_DUTY_PCT:
            return f"above {MAX_DUTY_PCT:g} %: little reserve, fuel may no longer follow pulse width"
        return "some reserve left"


def default_openings(engine: EngineSpec | None) -> str:
    """Return how often an injector opens if nobody says otherwise: once a working cycle."""
    return "turn" if engine and engine.cycle == EngineSpec.Cycle.TWO_STROKE else "cycle"


def run_duties(results: JobResults, openings: str) -> list[RunDuty]:
    return [
        compute_duty(run, TURNS[openings])
        for run in results.rows(Run)
        if run.status == Run.Status.READ and run.counts and set(NEEDED) <= set(run.channel_names)
    ]


def compute_duty(run: Run, turns_per_opening: float) -> RunDuty:
    channels = load_channels(run, NEEDED)
    try:
        speed, opening = (channels[name] for name in NEEDED)
        return RunDuty(run, find_injector_duty(speed, opening, turns_per_opening))
    except ValueError as problem:
        return RunDuty(run, None, str(problem))
