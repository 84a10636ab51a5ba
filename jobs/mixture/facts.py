"""Mixture studies on the handover sheet."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from jobs.job.json_values import Json, number
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.mixture.sentences import (
    correction_sentence,
    describe_extent,
    describe_standing,
    fuel_name,
    fuel_table_sentence,
    load_sentence,
    other_warnings,
    pass_sentence,
    severe_warnings,
)
from jobs.mixture.study import LOADS, runs_by_study
from jobs.mixture.tables import excluded_samples
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
    return MixtureFacts(
        title=study.title,
        runs=[str(run) for run in runs],
        engine_speed_rpm=study.rpm_axis,
        load_pct=study.load_axis,
        load=LOADS.get(study.load_channel, study.load_channel),
        target=study.target,
        fuel=fuel_name(study),
        delay_ms=number(study.delay_ms),
        settings=study.settings_used,
        result=study.result,
        standing=describe_standing(study),
        grave=severe_warnings(study),
        sentences=study_sentences(study),
        fuel_table=fuel_table_sentence(study),
        warnings=other_warnings(study),
        left_out=[f"{count} {_(reason)}" for reason, count in excluded_samples(study)],
        fuel_table_before=study.fuel_table_before,
        fuel_table_after=study.fuel_table_after,
    )


def study_sentences(study: MixtureStudy) -> list[str]:
    """Return what was measured under load, how far, and how far the correction can be relied on."""
    parts = (load_sentence, describe_extent, correction_sentence, pass_sentence)
    return [sentence for describe in parts if (sentence := describe(study))]


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
