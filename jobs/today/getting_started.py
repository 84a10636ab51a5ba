"""The first steps of a new shop: what is still missing, in the order it is needed."""

from dataclasses import dataclass

from django.urls import reverse

from jobs.defaults.workstations import WORKSTATIONS
from jobs.models import Job, ShutDays, WorkPlace
from workshop.models import BackupTaken, EngineSpec, ShopProfile, StaffMember
from workshop.models.shop import default_working_hours


@dataclass(frozen=True)
class OnboardingStep:
    title: str
    why: str
    url: str
    action: str
    done: bool


def onboarding_steps(shop: ShopProfile) -> list[OnboardingStep]:
    """Return the steps from an empty shop to its first job."""
    return [
        OnboardingStep(
            "Say who the shop is",
            "Name, address, time zone, units and paper stand on every sheet that a customer takes home.",
            reverse("shop-profile"),
            "Fill in the shop's page",
            shop.version > 1,
        ),
        OnboardingStep(
            "Say where and when you work",
            "Dynos and benches, and the hours of each weekday; jobs are planned into them. Where the first "
            "list and Monday to Friday fit, skip this.",
            reverse("place-list"),
            "Name the places",
            has_own_schedule(shop),
        ),
        OnboardingStep(
            "Let your people in",
            "Each logs in by name, so that every record says who made it. Working alone, skip this.",
            reverse("staff-new"),
            "Add a person",
            StaffMember.objects.filter(is_active=True).count() > 1,
        ),
        OnboardingStep(
            "Enter the first engine",
            "Its clearances, shims and ratios, copied once from the maker's manual, with edition and page.",
            reverse("engine-new"),
            "Enter an engine",
            EngineSpec.objects.exists(),
        ),
        OnboardingStep(
            "Book the first job",
            "Customer and bike are entered on the same page.",
            reverse("job-book"),
            "Book a job",
            Job.objects.exists(),
        ),
        OnboardingStep(
            "Take a backup, and try restoring it",
            "One file holds everything; a backup that was never restored is a hope.",
            reverse("backup"),
            "Take a backup",
            BackupTaken.objects.exists(),
        ),
    ]


def has_own_schedule(shop: ShopProfile) -> bool:
    """Check for changes to the default workstations or opening hours."""
    places = [(place.name, place.kind) for place in WorkPlace.objects.all()]
    return (
        places != WORKSTATIONS or shop.working_hours != default_working_hours() or ShutDays.objects.exists()
    )


def is_new_shop() -> bool:
    """Return True if the shop has not had its first job yet."""
    return not Job.objects.exists()
