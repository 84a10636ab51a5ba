"""What on the bike may affect its use on public roads, from all its jobs in this shop."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Count, Min
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from jobs.job.registry import collect, records
from jobs.job.results import JobResults
from jobs.models import Job, Part
from workshop.languages import format_day
from workshop.models import ShopProfile

ASK_APPROVAL = gettext_noop("Approval recorded: %(number)s. Ask whether it covers this bike.")
ELSEWHERE = gettext_noop("Work done elsewhere, or not recorded, is not covered.")


@dataclass(frozen=True)
class RoadCause:
    """Something recorded that may affect road use.

    Attributes
    ----------
    subject : str
        What it is, such as a part with its kind.
    effect : str
        What it may mean, as a sentence.
    job : Job or None
        Where it was recorded; None for what the bike's own entry says.
    at : datetime, optional
        When it was done.
    race_only, inform : bool
        Meant for racing only; the insurer or an authority may have to be told.
    approval : str
        Number of an approval, as typed. It removes no cause: the shop cannot tell what it covers.
    """

    subject: str
    effect: str
    job: Job | None
    at: datetime | None = None
    race_only: bool = False
    inform: bool = True
    approval: str = ""

    def describe(self, shop: ShopProfile, job: Job | None = None) -> str:
        """Return the cause as printed; on the sheet of ``job``, causes of other jobs name theirs."""
        is_own = self.job is None or (job is not None and job.pk == self.job.pk)
        source = "" if is_own else f", {self.describe_source(shop)}"
        approval = f" {_(ASK_APPROVAL) % {'number': self.approval}}" if self.approval else ""
        return f"{self.subject}{source}: {self.effect}{approval}"

    def describe_source(self, shop: ShopProfile) -> str:
        if self.job is None:
            return _("by the bike's own entry")
        values = {"job": self.job.number, "day": describe_date(self.at or arrival(self.job), shop)}
        return _("from job %(job)s, %(day)s") % values


def arrival(job: Job) -> datetime:
    return job.received_at or job.created_at


def describe_date(at: datetime, shop: ShopProfile) -> str:
    return format_day(at, ZoneInfo(shop.time_zone))


def road_causes(results: JobResults) -> list[RoadCause]:
    """Return what on the bike may affect road use, in the printed order."""
    return list(collect(results, "road_causes"))


def describe_causes(results: JobResults) -> list[str]:
    """Return the causes as printed on the sheet of this job."""
    return [cause.describe(results.shop, results.job) for cause in results.get(road_causes)]


def describe_bike_causes(results: JobResults) -> list[str]:
    """Return the causes, each with its job, for pages of the whole bike."""
    return [cause.describe(results.shop) for cause in results.get(road_causes)]


def to_report(causes: Sequence[RoadCause]) -> list[str]:
    """Return what the insurer or an authority may have to be told of."""
    return list(dict.fromkeys(cause.subject for cause in causes if cause.inform))


def describe_search(results: JobResults) -> str:
    """Say which records of the bike were searched for causes, and what that leaves out."""
    jobs = Job.objects.filter(bike=results.job.bike_id).aggregate(
        count=Count("pk"), since=Min(Coalesce("received_at", "created_at"))
    )
    values = {
        "count": jobs["count"],
        "since": describe_date(jobs["since"], results.shop),
        "what": "; ".join(_(record.looked_at) for record in records() if record.looked_at),
    }
    found = ngettext(
        "Searched: this shop's records of %(count)s job of this bike since %(since)s: %(what)s.",
        "Searched: this shop's records of %(count)s jobs of this bike since %(since)s: %(what)s.",
        jobs["count"],
    )
    return " ".join([found % values, *describe_unjudged(results), _(ELSEWHERE)])


def describe_unjudged(results: JobResults) -> list[str]:
    """Say how many parts have no kind, which older records lack."""
    count = sum(part.kind_id is None for part in results.bike_rows(Part))
    text = ngettext(
        "%(count)s part recorded without a type, so not assessed.",
        "%(count)s parts recorded without a type, so not assessed.",
        count,
    )
    return [text % {"count": count}] if count else []
