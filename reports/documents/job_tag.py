"""The tag that hangs on a bike: the number of its job and a QR code to its page.

Anyone in the shop can read it, so it names neither the customer nor the request. Bike and job number are
enough for the staff, and the page behind the QR code requires a login. The stage is left out because it
would be wrong as soon as the job moves on.
"""

from typing import Any

from jobs.job.json_values import moment, number
from jobs.job.results import load_job_results
from jobs.job.road_use import road_causes
from jobs.models import Job
from reports.documents.document import document_pdf
from reports.drawing.pictures import Picture
from reports.handover.snapshot.people import bike_facts
from reports.typesetting.pdf import qr_svg
from workshop.models import ShopProfile

SIZE = "105mm 148mm"  # A6, ISO 216: a quarter of A4, and whole on Letter at actual size
VIN_END_LENGTH = 6
NUMBER_PT = {9: 50, 10: 44, 11: 40}  # by the length of the number


def job_tag_pdf(job: Job, address: str, shop: ShopProfile) -> bytes:
    """Return the tag of a job as PDF; ``address`` is that of the job's page."""
    qr = Picture("job", qr_svg(address), "", f"QR code of the address {address}")
    facts = {**job_tag_facts(job, shop), "address": address}
    return document_pdf("job_tag", facts, shop, job.updated_at, pictures=[qr], size=SIZE)


def job_tag_facts(job: Job, shop: ShopProfile) -> dict[str, Any]:
    causes = load_job_results(job, shop).get(road_causes)
    track_only = job.intended_use == Job.IntendedUse.TRACK_ONLY
    return {
        "number": job.number,
        "number_pt": NUMBER_PT.get(max(len(job.number), 9), 36),
        "bike": bike_facts(job.bike),
        "vin_end": job.bike.vin[-VIN_END_LENGTH:],
        "received_at": moment(job.received_at),
        "promised_at": moment(job.promised_at),
        "odometer_km": number(job.odometer_km),
        "keys": job.keys,
        "fuel": job.get_fuel_display(),
        "intended_use": job.get_intended_use_display(),
        "mechanic": str(job.mechanic or ""),
        "tuner": str(job.tuner or ""),
        "track_only": track_only,
        "race_parts": not track_only and any(cause.race_only for cause in causes),
    }
