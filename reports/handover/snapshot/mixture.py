"""Mixture studies and throttle tables as the sheet prints them."""

from collections.abc import Iterable, Sequence
from typing import Any

from jobs.calc.mixture.fuel import FUELS
from jobs.job.results import JobResults
from jobs.mixture.study import LOADS
from jobs.mixture.tables import (
    correction_sentence,
    excluded_samples,
    fuel_table_sentence,
    load_sentence,
    other_warnings,
    severe_warnings,
)
from jobs.models import MixtureStudy, Run
from jobs.throttle.from_runs import drift_checks, job_idles
from jobs.throttle.torque_charts import EngineBraking, engine_braking, idle_change, torque_by_grip
from jobs.tunes.revisions import tune_in_bike
from jobs.tunes.throttle_tables import Mode, TableReview, compare_modes, riding_modes, table_speeds
from reports.handover.snapshot.codec import structure
from reports.handover.snapshot.json_values import number
from reports.handover.snapshot.schema import (
    BrakingFacts,
    BrakingRowFacts,
    ChartFacts,
    HeldFacts,
    IdleFacts,
    MixtureFacts,
    ModeFacts,
    ModePairFacts,
    ThrottleFacts,
    ThrottleTableFacts,
    TorqueFacts,
    TorqueRowFacts,
)


def mixture_facts(study: MixtureStudy, runs: Iterable[Run]) -> MixtureFacts:
    result = study.result or {}
    fuel = FUELS.get(study.fuel)
    return MixtureFacts(
        title=study.title,
        runs=[str(run) for run in runs],
        engine_speed_rpm=study.rpm_axis,
        load_pct=study.load_axis,
        load=LOADS.get(study.load_channel, study.load_channel),
        target=study.target,
        fuel=fuel.name if fuel else study.fuel,
        delay_ms=number(study.delay_ms),
        settings=study.settings_used,
        result=study.result,
        standing=standing_in_words(result),
        grave=severe_warnings(study),
        told=[each for each in (load_sentence(study), correction_sentence(study)) if each],
        fuel_table=fuel_table_sentence(study),
        warnings=other_warnings(study),
        left_out=[f"{count} {reason}" for reason, count in excluded_samples(study)],
        fuel_table_before=study.fuel_table_before,
        fuel_table_after=study.fuel_table_after,
    )


def standing_in_words(result: dict[str, Any]) -> str:
    if "cells_measured" not in result:
        return ""
    return f"{result['cells_on_target']} of {result['cells_measured']} measured cells are on target."


def throttle_facts(results: JobResults) -> ThrottleFacts | None:
    """Every riding mode as received and as in the bike, and what the runs say of it; None without any."""
    modes = results.get(riding_modes)
    held = [HeldFacts(each.label, each.result.sentence) for each in results.get(drift_checks)]
    idles = results.get(job_idles)
    idle = [IdleFacts(str(each.run), each.result.sentence if each.result else each.problem) for each in idles]
    brakes = results.get(engine_braking)
    if not (modes or held or idle or brakes):
        return None
    return ThrottleFacts(
        modes=[mode_facts(mode) for mode in modes],
        against=[ModePairFacts(pair, words) for pair, words in compare_modes(modes)],
        torque=torque_facts(results),
        held=held,
        idle=idle,
        idle_change=idle_change(idles),
        braking=braking_facts(brakes) if brakes else None,
    )


def torque_facts(results: JobResults) -> TorqueFacts | None:
    """Torque by grip in each mode, as received and as in the bike, inside what held runs measured."""
    modes = results.get(riding_modes)
    speeds = table_speeds(modes)
    if not speeds:
        return None
    tables = {
        f"{mode.name}, {name}" if mode.is_changed else mode.name: judged
        for mode in modes
        for name, judged in mode.tables
    }
    at_rpm = speeds[len(speeds) // 2]
    found = torque_by_grip(tables, results.rows(Run), results.get(tune_in_bike), speeds, at_rpm, results.shop)
    if found is None or found.problem or not found.rows:
        return None
    return TorqueFacts(
        tune=found.tune,
        runs=found.runs,
        unit=found.unit,
        at_rpm=at_rpm,
        modes=found.modes,
        chart=structure(found.chart, ChartFacts) if found.chart else None,
        rows=[
            TorqueRowFacts(rpm, [str(cell or "not measured") for _, cell in cells])
            for rpm, cells in found.rows
        ],
    )


def braking_facts(found: EngineBraking) -> BrakingFacts:
    return BrakingFacts(
        unit=found.unit,
        tunes=found.tunes,
        change=found.change,
        chart=structure(found.chart, ChartFacts),
        rows=[BrakingRowFacts(rpm, [number(each, 2) for _, each in cells]) for rpm, cells in found.rows],
    )


def mode_facts(mode: Mode) -> ModeFacts:
    return ModeFacts(
        mode=mode.name,
        for_whom=mode.for_whom,
        tables=[table_facts(name, judged, mode) for name, judged in mode.tables if judged.throttle_map],
        words=list(mode.sentences),
        changed=mode.is_changed,
        flags=[flag.sentence for flag in mode.flags],
        also_recorded=[table.revision.label for table in mode.others],
    )


def table_facts(name: str, judged: TableReview, mode: Mode) -> ThrottleTableFacts:
    grip, speed, plate = judged.table.as_arrays()
    return ThrottleTableFacts(
        name=name,
        before=mode.is_changed and judged is mode.received,
        grip_pct=grip,
        engine_speed_rpm=speed,
        plate_pct=plate,
    )


def throttle_words(throttle: ThrottleFacts | None) -> Sequence[str]:
    """One sentence for each mode that was changed."""
    modes = throttle.modes if throttle else []
    return [mode.words[0] for mode in modes if mode.changed and mode.words]
