"""The first steps of a new shop: what is still missing, in the order it is needed."""

from dataclasses import dataclass, replace

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
    is_next: bool = False


def onboarding_steps(shop: ShopProfile) -> list[OnboardingStep]:
    """Return the steps from an empty shop to its first job."""
    steps = [
        OnboardingStep(
            "Shop details",
            "Name, address, time zone, units and paper size. They appear on every handover sheet.",
            reverse("shop-profile"),
            "Enter shop details",
            shop.version > 1,
        ),
        OnboardingStep(
            "Workstations and opening hours",
            "Your dynos, benches and opening hours. If the default list and Monday to Friday suit you, "
            "skip this.",
            reverse("place-list"),
            "Set up workstations",
            has_own_schedule(shop),
        ),
        OnboardingStep(
            "Add your staff",
            "Each person has their own login, so every record shows who made it. If you work alone, "
            "skip this.",
            reverse("staff-new"),
            "Add staff",
            StaffMember.objects.filter(is_active=True).count() > 1,
        ),
        OnboardingStep(
            "Enter the first engine",
            "Clearances, shims and gear ratios from the service manual, with edition and page.",
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
            "Make a backup and test restoring it",
            "One file holds everything. Restore it once on another machine to be sure it works.",
            reverse("backup"),
            "Make a backup",
            BackupTaken.objects.exists(),
        ),
    ]
    first = next((step for step in steps if not step.done), None)
    return [replace(step, is_next=step is first) for step in steps]


def has_own_schedule(shop: ShopProfile) -> bool:
    """Check for changes to the default workstations or opening hours."""
    places = [(place.name, place.kind) for place in WorkPlace.objects.all()]
    return (
        places != WORKSTATIONS or shop.working_hours != default_working_hours() or ShutDays.objects.exists()
    )


def is_new_shop() -> bool:
    """Return True if the shop has not had its first job yet."""
    return not Job.objects.exists()
