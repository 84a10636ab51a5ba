"""Shop, customer, bike and brief as the sheet prints them.

The customer's address and phone stay out, and so do the shop's own remarks about customer and bike:
the sheet may be passed on.
"""

import io
from pathlib import PurePath
from typing import Any

from jobs.models import Job, Photo
from jobs.page import JobPage
from jobs.work import total
from reports.snapshot.plain import encoded, moment, number
from workshop.models import Bike, Customer, EngineSpec, ShopProfile

UNITS = ("power", "torque", "pressure", "temperature", "length", "distance")
PHOTO_SIDE = 640
LOGO_TYPES = {".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg"}


def shop_facts(shop: ShopProfile) -> dict[str, Any]:
    facts = {
        name: getattr(shop, name)
        for name in ("name", "address", "phone", "email", "paper", "time_zone", "currency")
    }
    units = {f"{name}_unit": getattr(shop, f"{name}_unit") for name in UNITS}
    return {**facts, "units": units, "logo": logo(shop)}


def logo(shop: ShopProfile) -> dict[str, str] | None:
    kind = LOGO_TYPES.get(PurePath(shop.logo.name or "").suffix.lower())
    if kind is None:
        return None
    try:
        with shop.logo.open("rb") as file:
            return {"type": kind, "base64": encoded(file.read())}
    except FileNotFoundError:
        return None


def customer_facts(customer: Customer) -> dict[str, Any]:
    return {
        "name": customer.name,
        "experience": customer.get_experience_display(),
        "riding_mass_kg": number(customer.riding_mass_kg),
    }


def bike_facts(bike: Bike) -> dict[str, Any]:
    names = (
        "make",
        "model",
        "year",
        "vin",
        "plate",
        "front_sprocket",
        "rear_sprocket",
        "front_tyre",
        "rear_tyre",
    )
    return {"title": str(bike), **{name: getattr(bike, name) for name in names}}


def engine_facts(spec: EngineSpec | None) -> dict[str, Any] | None:
    if spec is None:
        return None
    return {
        "title": str(spec),
        "adjuster": spec.get_adjuster_display(),
        "source": spec.source,
        "check_interval_km": spec.check_interval_km,
        "check_interval_hours": spec.check_interval_hours,
    }


def brief_facts(page: JobPage) -> dict[str, Any]:
    job = page.job
    return {
        "asked": job.brief,
        "intended_use": job.get_intended_use_display(),
        "track_only": job.intended_use == Job.IntendedUse.TRACK_ONLY,
        "booked_for": moment(job.booked_for),
        "received_at": moment(job.received_at),
        "promised_at": moment(job.promised_at),
        "handed_over_at": moment(job.handed_over_at),
        "odometer_km": number(job.odometer_km),
        "engine_hours": number(job.engine_hours),
        "fuel": job.get_fuel_display(),
        "keys": job.keys,
        "condition": job.condition,
        "mechanic": str(job.mechanic or ""),
        "tuner": str(job.tuner or ""),
        **work_facts(page),
        "photos": [photo_facts(photo) for photo in page.photos],
    }


def work_facts(page: JobPage) -> dict[str, Any]:
    agreed = total(page.job, page.work_items)
    priced = any(item.price is not None for item in page.work_items)
    return {
        "work": [
            {
                "description": item.description,
                "price": None if item.price is None else str(item.price),
                "done": item.done,
            }
            for item in page.work_items
        ],
        "work_total": str(agreed.amount) if priced else None,
        "authorised": None if page.job.authorised_amount is None else str(page.job.authorised_amount),
    }


def photo_facts(photo: Photo) -> dict[str, Any]:
    return {"shows": str(photo), "taken_at": moment(photo.created_at), "jpeg_base64": thumbnail(photo)}


def thumbnail(photo: Photo) -> str | None:
    """The photo at print size, or None where its file is gone or can't be read."""
    from PIL import Image, UnidentifiedImageError

    try:
        with photo.image.open("rb") as file:
            opened = Image.open(file)
            opened.draft("RGB", (PHOTO_SIDE, PHOTO_SIDE))
            image = opened.convert("RGB")
    except (FileNotFoundError, UnidentifiedImageError, OSError):
        return None
    image.thumbnail((PHOTO_SIDE, PHOTO_SIDE))
    small = io.BytesIO()
    image.save(small, "JPEG", quality=80)
    return encoded(small.getvalue())
