"""The job's request, check-in and agreed work on the handover sheet."""

from dataclasses import dataclass, field

from django.utils.translation import gettext as _

from jobs.intake.receipt import AuthorisationFacts, authorisation_facts
from jobs.job.json_values import moment, number
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.job.sentences import listed
from jobs.models import Authorisation, Job, Photo, WorkItem
from jobs.work_items.totals import work_total
from workshop.images import small_image, strip_metadata

PHOTO_SIDE_PX = 640


@dataclass(frozen=True)
class WorkFacts:
    description: str
    price: str | None
    done: bool


@dataclass(frozen=True)
class PhotoFacts:
    shows: str
    taken_at: str | None
    jpeg_base64: str | None


@dataclass(frozen=True)
class BriefFacts:
    asked: str
    intended_use: str
    track_only: bool
    booked_for: str | None
    received_at: str | None
    promised_at: str | None
    handed_over_at: str | None
    odometer_km: float | None
    engine_hours: float | None
    fuel: str
    keys: int | None
    condition: str
    mechanic: str
    tuner: str
    work: list[WorkFacts]
    work_total: str | None
    authorised: str | None
    photos: list[PhotoFacts]
    authorisations: list[AuthorisationFacts] = field(default_factory=list)


def brief_facts(results: JobResults) -> BriefFacts:
    """Return what the customer asked for, what came in and what was agreed."""
    job = results.job
    agreed, items = results.get(work_total), results.rows(WorkItem)
    priced = any(item.price is not None for item in items)
    return BriefFacts(
        asked=job.brief,
        intended_use=job.get_intended_use_display(),
        track_only=job.intended_use == Job.IntendedUse.TRACK_ONLY,
        booked_for=moment(job.booked_for),
        received_at=moment(job.received_at),
        promised_at=moment(job.promised_at),
        handed_over_at=moment(job.handed_over_at),
        odometer_km=number(job.odometer_km),
        engine_hours=number(job.engine_hours),
        fuel=job.get_fuel_display(),
        keys=job.keys,
        condition=job.condition,
        mechanic=str(job.mechanic or ""),
        tuner=str(job.tuner or ""),
        work=[
            WorkFacts(item.description, None if item.price is None else str(item.price), item.done)
            for item in items
        ],
        work_total=str(agreed.amount) if priced else None,
        authorised=None if job.authorised_amount is None else str(job.authorised_amount),
        photos=[photo_facts(photo, number) for number, photo in enumerate(results.rows(Photo), 1)],
        authorisations=[authorisation_facts(answer) for answer in results.rows(Authorisation)],
    )


def photo_facts(photo: Photo, number: int) -> PhotoFacts:
    shows = photo.caption or _("Photo %(number)s, without a caption") % {"number": number}
    return PhotoFacts(shows, moment(photo.created_at), thumbnail(photo))


def thumbnail(photo: Photo) -> str | None:
    """Return a photo at print size as base64; None if its file is missing or cannot be read."""
    image = small_image(photo.image, PHOTO_SIDE_PX)
    return None if image is None else strip_metadata(image.convert("RGB"), "JPEG", quality=80)


def is_filled(brief: BriefFacts) -> bool:
    """Return True if anything is recorded beyond the request, which the first page prints."""
    recorded = (
        brief.condition,
        brief.odometer_km,
        brief.engine_hours,
        brief.fuel,
        brief.keys,
        brief.work,
        brief.photos,
        brief.authorisations,
        brief.received_at,
    )
    return any(value not in (None, "", []) for value in recorded)


def agreed_done(results: JobResults) -> list[str]:
    """Return which agreed work was done, for a job without any other record."""
    done = [item.description for item in results.rows(WorkItem) if item.done]
    return [_("Agreed work done: %(work)s") % {"work": listed(done)}] if done else []


BRIEF = Printed(
    "brief",
    brief_facts,
    BriefFacts,
    heading="Request and check-in",
    title="request and check-in",
    template="jobs/job_page/_sheet.html",
    is_shown=is_filled,
)
