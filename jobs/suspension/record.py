"""What suspension and settings contribute to a job."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from jobs.job.event import Event, EventKind
from jobs.job.page import Rows
from jobs.job.registry import Export, JobRecord
from jobs.job.results import JobResults
from jobs.models import Run, SuspensionSetting, TuneChange, TuneChangeKind, TuneRevision
from jobs.suspension.facts import SUSPENSION, suspension_done
from jobs.suspension.road_use import setting_causes
from jobs.suspension.section import section
from jobs.suspension.settings import changed_settings


def events(results: JobResults) -> Iterator[Event]:
    """Yield settings read, and settings changed if those as left differ from those before them."""
    before: SuspensionSetting | None = None
    for setting in results.rows(SuspensionSetting):
        as_left = setting.when == SuspensionSetting.When.AS_LEFT
        changed = changed_settings(before, setting, results.shop) if as_left else []
        text = _("suspension and settings %(when)s") % {"when": _(setting.get_when_display())}
        if changed:
            text += f": {'; '.join(changed)}"
        yield Event(setting.set_at, EventKind.SETTINGS, text, changes_bike=bool(changed))
        before = setting


RECORD = JobRecord(
    "suspension",
    rows=(Rows(SuspensionSetting, people=("by",)),),
    reads=(
        SuspensionSetting,
        TuneRevision,
        TuneChange,
        TuneChangeKind,
        Run,
    ),  # the tune may set the rev limit
    section=section,
    carries=(SuspensionSetting, TuneRevision, TuneChange, Run),
    events=events,
    road_causes=setting_causes,
    looked_at="sprockets, ride height and, if the top speed is on record, tyre speed symbols",
    printed=SUSPENSION,
    done=suspension_done,
    export=Export(
        column_names={"front_sprocket": "front_sprocket_teeth", "rear_sprocket": "rear_sprocket_teeth"}
    ),
)
