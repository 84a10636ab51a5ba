"""Mixture studies on the handover sheet."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from jobs.calc.mixture.fuel import FUELS
from jobs.job.json_values import Json, number
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.mixture.study import LOADS, runs_by_study
from jobs.mixture.tables import (
    correction_sentence,
    excluded_samples,
    fuel_table_sentence,
    load_sentence,
    other_warnings,
    severe_warnings,
)
from jobs.models import MixtureStudy, Run


@dataclass(frozen=True)
class MixtureFacts:
    title: str
    runs: list[str]
    engine_speed_rpm: list[float]
    load_pct: list[float]
    load: str
    target: Any
    fuel: str
    delay_ms: float | None
    settings: Json
    result: Json | None
    standing: str
    grave: list[str]
    sentences: list[str] = field(metadata={"key": "told"})
    fuel_table: str
    warnings: list[str]
    left_out: list[str]
    fuel_table_before: Json | None
    fuel_table_after: Json | None


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
        standing=describe_standing(result),
        grave=severe_warnings(study),
        sentences=[sentence for sentence in (load_sentence(study), correction_sentence(study)) if sentence],
        fuel_table=fuel_table_sentence(study),
        warnings=other_warnings(study),
        left_out=[f"{count} {reason}" for reason, count in excluded_samples(study)],
        fuel_table_before=study.fuel_table_before,
        fuel_table_after=study.fuel_table_after,
    )


def describe_standing(result: dict[str, Any]) -> str:
    if "cells_measured" not in result:
        return ""
    return f"{result['cells_on_target']} of {result['cells_measured']} measured cells are on target."


def printed_studies(results: JobResults) -> list[MixtureFacts]:
    return [
        mixture_facts(study, runs) for study, runs in results.get(runs_by_study).items() if study.on_sheet
    ]


MIXTURE = Printed(
    "mixture",
    printed_studies,
    list[MixtureFacts],
    heading="Mixture",
    title="mixture",
    template="jobs/mixture/_sheet.html",
    absent=[],
)
