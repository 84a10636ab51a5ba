"""Chart, table and CSV of the injector duty."""

from collections.abc import Iterator, Sequence
from typing import Any

from jobs.calc.mixture.injector import MS_PER_MINUTE
from jobs.calc.units.numbers import format_number
from jobs.injectors.compute import TURNS, RunDuty
from jobs.runs.chart_data import ChannelDisplay, Chart, CurveLine, build_chart

HEADER = ("run", "tune", "engine speed (rpm)", "highest duty (%)", "pulse width (ms)", "openings")
OPENINGS = {"cycle": "one in two turns of the crank", "turn": "one in each turn of the crank"}


def describe_answer(duties: Sequence[RunDuty]) -> str:
    """Return the highest duty of all runs and what it means."""
    known = [(duty.highest_pct, duty) for duty in duties if duty.highest_pct is not None]
    if not known:
        return "Injector duty: no run with pulse width"
    highest, duty = max(known, key=lambda pair: pair[0])
    return f"Injectors open up to {format_number(highest)} % of the time: {duty.verdict}"


def duty_rows(duties: Sequence[RunDuty], openings: str) -> list[dict[str, Any]]:
    rows = []
    for duty in duties:
        row: dict[str, Any] = {"run": duty.run, "verdict": duty.verdict, "highest": duty.highest_pct}
        if duty.result:
            at = duty.result.highest
            speed = float(duty.result.engine_speed_rpm[at])
            row |= {
                "duty": format_number(float(duty.result.duty_pct[at]), 1),
                "at": format_number(speed),
                "opening": format_number(float(duty.result.opening_ms[at]), 2),
                "most": format_number(MS_PER_MINUTE * TURNS[openings] / speed, 2),
            }
        rows.append(row)
    return rows


def duty_chart(duties: Sequence[RunDuty]) -> Chart | None:
    """Return the highest duty over engine speed, a line a run, or None without any."""
    lines = [
        CurveLine(str(duty.run), "other", duty.result.engine_speed_rpm, duty.result.duty_pct)
        for duty in duties
        if duty.result
    ]
    measure = ChannelDisplay("Injector duty", "%", 1, lambda values: values)
    return build_chart("Engine speed", "rpm", [(measure, lines)]) if lines else None


def csv_rows(duties: Sequence[RunDuty], openings: str) -> Iterator[list[Any]]:
    for duty in duties:
        if duty.result:
            tune = str(duty.run.tune_revision or "")
            channels = (duty.result.engine_speed_rpm, duty.result.duty_pct, duty.result.opening_ms)
            for speed, share, opening in zip(*(channel.tolist() for channel in channels), strict=True):
                figures = (round(speed), round(share, 2), round(opening, 3))
                yield [str(duty.run), tune, *figures, OPENINGS[openings]]
