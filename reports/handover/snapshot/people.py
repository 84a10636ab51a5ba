"""Shop, customer, bike and brief as the sheet prints them.

The customer's address and phone stay out, and so do the shop's own remarks about customer and bike:
the sheet may be passed on.
"""

import io
from typing import TYPE_CHECKING

from django.db.models.fields.files import FieldFile

from jobs.job.results import JobResults
from jobs.models import Job, Photo, WorkItem
from jobs.work_items.totals import work_total
from reports.handover.snapshot.json_values import encoded, moment, number
from reports.handover.snapshot.schema import (
    BikeFacts,
    BriefFacts,
    CustomerFacts,
    EngineFacts,
    LogoFacts,
    PhotoFacts,
    ShopFacts,
    UnitFacts,
    WorkFacts,
)
from workshop.models import Bike, Customer, EngineSpec, ShopProfile

if TYPE_CHECKING:
    from PIL import Image

PHOTO_SIDE = 640
LOGO_SIDE = 900


def shop_facts(shop: ShopProfile) -> ShopFacts:
    return ShopFacts(
        name=shop.name,
        address=shop.address,
        phone=shop.phone,
        email=shop.email,
        paper=shop.paper,
        time_zone=shop.time_zone,
        currency=shop.currency,
        units=UnitFacts(
            power_unit=shop.power_unit,
            torque_unit=shop.torque_unit,
            pressure_unit=shop.pressure_unit,
            temperature_unit=shop.temperature_unit,
            length_unit=shop.length_unit,
            distance_unit=shop.distance_unit,
        ),
        logo=logo(shop),
    )


def logo(shop: ShopProfile) -> LogoFacts | None:
    """The shop's logo as PNG; None where there is none, or its file is gone or can't be read."""
    image = small_image(shop.logo, LOGO_SIDE) if shop.logo else None
    return None if image is None else LogoFacts("image/png", written_as(image, "PNG"))


def customer_facts(customer: Customer) -> CustomerFacts:
    return CustomerFacts(
        name=customer.name,
        experience=customer.get_experience_display(),
        riding_mass_kg=number(customer.riding_mass_kg),
    )


def bike_facts(bike: Bike) -> BikeFacts:
    return BikeFacts(
        title=str(bike),
        make=bike.make,
        model=bike.model,
        year=bike.year,
        vin=bike.vin,
        plate=bike.plate,
        front_sprocket=bike.front_sprocket,
        rear_sprocket=bike.rear_sprocket,
        front_tyre=bike.front_tyre,
        rear_tyre=bike.rear_tyre,
    )


def engine_facts(spec: EngineSpec | None) -> EngineFacts | None:
    if spec is None:
        return None
    return EngineFacts(
        title=str(spec),
        adjuster=spec.get_adjuster_display(),
        source=spec.source,
        check_interval_km=spec.check_interval_km,
        check_interval_hours=spec.check_interval_hours,
    )


def brief_facts(results: JobResults) -> BriefFacts:
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
        photos=[photo_facts(photo) for photo in results.rows(Photo)],
    )


def photo_facts(photo: Photo) -> PhotoFacts:
    return PhotoFacts(str(photo), moment(photo.created_at), thumbnail(photo))


def thumbnail(photo: Photo) -> str | None:
    """The photo at print size, or None where its file is gone or can't be read."""
    image = small_image(photo.image, PHOTO_SIDE)
    return None if image is None else written_as(image.convert("RGB"), "JPEG", quality=80)


def small_image(stored: FieldFile, side: int) -> "Image.Image | None":
    """A stored picture upright, in sRGB, at most so many pixels a side, and of its metadata nothing.

    A PDF/A takes colours without a profile of their own as those of its output intent, which is sRGB.
    """
    from PIL import Image, ImageOps

    try:
        with stored.open("rb") as file:
            opened = Image.open(file)
            profile = opened.info.get("icc_profile")
            opened.draft("RGB", (side, side))
            image = in_srgb(ImageOps.exif_transpose(opened), profile)
    except (FileNotFoundError, OSError, ValueError, Image.DecompressionBombError):
        return None
    image.thumbnail((side, side))
    return image


def in_srgb(image: "Image.Image", profile: bytes | None) -> "Image.Image":
    from PIL import ImageCms

    if profile and image.mode in ("RGB", "CMYK", "L"):
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        try:
            changed = ImageCms.profileToProfile(
                image, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
            )
        except ImageCms.PyCMSError:
            changed = None  # a profile that does not fit the picture says nothing of its colours
        if changed is not None:
            return changed
    return image.convert("RGBA" if "A" in image.mode or "transparency" in image.info else "RGB")


def written_as(image: "Image.Image", kind: str, **how: int) -> str:
    """The pixels alone, without what the file told of camera, place and profile."""
    image.info.clear()
    out = io.BytesIO()
    image.save(out, kind, **how)
    return encoded(out.getvalue())
