"""The sheet of a shop that measures in inches says its lengths in inches."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from jobs.calc.clearances.shim_plan import Policy
from jobs.clearances.facts import CLEARANCES
from jobs.clearances.shim_plan import accept_plan, collect_plan_inputs, plan_engine, stock_for
from jobs.models import SuspensionSetting
from jobs.suspension.facts import SUSPENSION
from reports.handover.snapshot import make_snapshot
from tests import factories
from tests.factories import make_clearance_set, make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db


def test_prediction_mismatch_and_sag_hints_are_in_inches(shop, staff) -> None:
    shop.length_unit = "in"
    shop.save()
    job, mechanic = make_job(), staff[Role.MECHANIC]
    found = make_clearance_set(job, mechanic, "0.15")
    found.readings.filter(side="exhaust").update(clearance_mm=Decimal("0.31"))
    spec, policy = job.bike.engine_spec, Policy.TARGET
    plan = plan_engine(collect_plan_inputs(spec, found.readings.all()), policy, stock_for(spec))
    accept_plan(measured=found, spec=spec, policy=policy, fingerprint=plan.fingerprint, by=mechanic)
    left = make_clearance_set(job, mechanic, "0.31", when="as_left")
    left.readings.filter(side="intake").update(clearance_mm=Decimal("0.10"))
    SuspensionSetting.objects.create(
        job=job, when="as_found", by=mechanic, front_unloaded_mm=600, front_pushed_mm=540,
        front_lifted_mm=570, front_travel_mm=120,
    )  # fmt: skip
    snapshot = make_snapshot(
        factories.load_results(job), issue_number=1, issued_by=mechanic, at=datetime(2026, 3, 14, tzinfo=UTC)
    )
    # 0.10 mm = 0.0039 in; 0.05 mm = 0.0020 in; 0.15 mm = 0.0059 in
    surprises = {row.surprise for row in snapshot.get(CLEARANCES).rows} - {""}
    assert len(surprises) == 1
    assert "0.0039 in is 0.0020 in tighter than the 0.0059 in predicted" in surprises.pop()
    # 30 mm / 25.4 = 1.18 in
    assert "The two readings are 1.18 in apart" in snapshot.get(SUSPENSION).hints[0]
