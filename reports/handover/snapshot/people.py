"""Shop, customer, bike and engine as the sheet prints them.

The customer's address and phone stay out, and so do the shop's own remarks about customer and bike:
the sheet may be passed on.
"""

from jobs.job.json_values import number
from reports.handover.snapshot.schema import (
    BikeFacts,
    CustomerFacts,
    EngineFacts,
    LogoFacts,
    ShopFacts,
    UnitFacts,
)
from workshop.images import small_image, strip_metadata
from workshop.models import Bike, Customer, EngineSpec, ShopProfile

LOGO_SIDE_PX = 900


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
        responsible_name=shop.responsible_name,
        responsible_role=shop.responsible_role,
    )


def logo(shop: ShopProfile) -> LogoFacts | None:
    """Return the shop's logo as PNG; None without a logo or if its file cannot be read."""
    image = small_image(shop.logo, LOGO_SIDE_PX) if shop.logo else None
    return None if image is None else LogoFacts("image/png", strip_metadata(image, "PNG"))


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
