"""Pictures of the sheet can be read."""

import json
import re
from dataclasses import replace
from pathlib import Path

from jobs.comparisons.facts import COMPARISONS
from reports.drawing.pictures import lambda_picture
from reports.handover.snapshot.codec import from_json

STORED = Path(__file__).parents[1] / "handover" / "snapshots" / "format-1.json"
LETTER_HEIGHT_PT = 6.8


def test_names_of_curves_that_end_together_do_not_cover_each_other() -> None:
    facts = from_json(json.loads(STORED.read_text(encoding="utf-8"))).get(COMPARISONS)
    compared = next(each for each in facts if each.curves and each.curves.before.lambda_)
    curves = compared.curves
    assert curves is not None
    same = replace(compared, curves=replace(curves, after=curves.before))
    picture = lambda_picture(same, 0)
    assert picture is not None
    heights = [float(re.search(rf'y="([\d.]+)"[^>]*>{name}<', picture.svg)[1]) for name in ("Before", "Now")]
    assert abs(heights[0] - heights[1]) > LETTER_HEIGHT_PT
