"""Run files for tests: the demo's, and small ones made by hand."""

import json
from pathlib import Path
from typing import Any

import numpy as np

from jobs.calc.run_file import FileLayoutSpec
from jobs.job.results import load_job_results
from jobs.models import Job, Run
from jobs.runs.file_correction import OBSERVED
from jobs.runs.importing import ImportResult, RunDetails, import_run, name_columns
from jobs.runs.results import RunResult, run_results
from workshop.models import ShopProfile, StaffMember

DEMO = Path(__file__).resolve().parents[2] / "fixtures" / "runs"
HEADER = "Time (s),Engine speed (rpm),Power (kW),Throttle grip (%),Lambda"
PLAIN = ("time_s", "engine_speed_rpm", "power_kw", "grip_pct", "lambda")


def demo_runs(bike: str, kind: str = "sweep") -> list[dict[str, Any]]:
    entries = json.loads((DEMO / "manifest.json").read_text())["runs"]
    return [entry for entry in entries if entry["bike"] == bike and entry["kind"] == kind]


def demo_bytes(entry: dict[str, Any]) -> bytes:
    return (DEMO / entry["file"]).read_bytes()


def attach_demo(job: Job, by: StaffMember, entry: dict[str, Any], **details: Any) -> Run:
    """Attach a file of the demo; name its columns from the manifest if needed."""
    details = {
        "kind": entry["kind"],
        "gear": entry["gear"],
        "corrected_by": OBSERVED,
        **entry["air"],
        **details,
    }
    result = import_run(
        job=job, by=by, name=entry["file"], data=demo_bytes(entry), details=RunDetails(**details)
    )
    if result.run.status == Run.Status.TO_NAME:
        meanings = {column["column"]: (column["channel"], column["unit"]) for column in entry["columns"]}
        layout = FileLayoutSpec.from_dict(result.run.layout_used).with_meanings(meanings)
        name_columns(run=result.run, layout=layout, remember_as=entry["layout"])
        result.run.refresh_from_db()
    return result.run


def sweep_csv(power: Any = None, rows: int = 801, salt: int = 0, header: str = HEADER) -> bytes:
    """Make a full-throttle sweep from 3,000 to 11,000 1/min in 8 s, with linear power by default.

    ``salt`` makes files of the same figures differ.
    """
    time = np.linspace(0, 8, rows)
    speed = 3000 + 1000 * time
    power_kw = (speed / 200) if power is None else power(speed)
    lines = [f"{t:.3f},{n:.1f},{p:.4f},100.0,0.880" for t, n, p in zip(time, speed, power_kw, strict=True)]
    return "\n".join([header, *lines, "" if not salt else "\n" * salt]).encode()


def attach_sweep(job: Job, by: StaffMember, data: bytes | None = None, **details: Any) -> ImportResult:
    """Attach a sweep made by hand; all its columns are certain, so it is read at once."""
    name = details.pop("name", "sweep.csv")
    details = {"corrected_by": OBSERVED, **details}
    return import_run(job=job, by=by, name=name, data=data or sweep_csv(), details=RunDetails(**details))


def get_result(run: Run, shop: ShopProfile) -> RunResult:
    """Return the result of a run among all runs of its job."""
    return load_job_results(run.job, shop).get(run_results)[run.pk]
