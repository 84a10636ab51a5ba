"""Making a sheet derives each fact once: one unpacking and one curve a run, one judgement a clearance."""

from collections import Counter

import numpy as np
import pytest

from jobs.clearances.valve_gaps import ValveGap
from jobs.models import ClearanceReading, Run
from jobs.runs import results as run_results
from reports.handover.issuing import blockers
from reports.handover.snapshot import make_snapshot
from tests import factories
from tests.reports.conftest import AT
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(monkeypatch) -> Counter[str]:
    """Count what is derived, by the arrays or rows that it is derived from."""
    counts: Counter[str] = Counter()
    fit, judge, load = run_results.power_curve, ValveGap.judge, np.load

    def counted_fit(*args, **kwargs):
        counts["curve"] += 1
        return fit(*args, **kwargs)

    def counted_judge(gap, reading):
        counts["judgement"] += 1
        return judge(gap, reading)

    def counted_load(*args, **kwargs):
        counts["unpacking"] += 1
        return load(*args, **kwargs)

    monkeypatch.setattr(run_results, "power_curve", counted_fit)
    monkeypatch.setattr(ValveGap, "judge", counted_judge)
    monkeypatch.setattr(np, "load", counted_load)
    return counts


def test_sheet_derives_each_fact_once(whole_job, staff, made) -> None:
    results = factories.load_results(whole_job)
    blockers(results)
    make_snapshot(results, issue_number=1, issued_by=staff[Role.OWNER], at=AT)
    runs = Run.objects.filter(job=whole_job).count()
    readings = ClearanceReading.objects.filter(clearance_set__job=whole_job).count()
    assert made == {"unpacking": runs, "curve": runs, "judgement": readings}
