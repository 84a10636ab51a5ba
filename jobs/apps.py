from typing import Any

from django.apps import AppConfig, apps
from django.apps.registry import Apps
from django.db.models.signals import post_migrate

# Places of workshop's pages, and what of jobs is shown there.
ADDITIONS = (
    ("customer page", "jobs/bikes/_of_customer.html"),
    ("customer page", "jobs/job/_of_customer.html"),
    ("known customer", "jobs/job/_last_of_customer.html"),
    ("known bike", "jobs/job/_last_of_bike.html"),
    ("no customers", "jobs/booking/_no_customers.html"),
    ("engine drawing", "jobs/clearances/_of_engine.html"),
    ("engine page", "jobs/bikes/_of_engine.html"),
    ("shop menu", "jobs/job/_shop_menu.html"),
    ("instruments page", "jobs/verification/_link.html"),
)
# By entry of the bar: the first parts of the addresses of its pages, besides its own.
AREAS = {
    "today": ("slots", "calendar"),
    "jobs": (
        "changes",
        "checks",
        "clearances",
        "comparisons",
        "contacts",
        "dyno-sessions",
        "mixture",
        "parts",
        "photos",
        "runs",
        "suspension",
        "throttle",
        "tune-changes",
        "tunes",
        "wishes",
        "work",
    ),
    "shop": ("dyno-checks", "layouts", "repeatability"),
}


def has_todays_tables(migrated: Apps) -> bool:
    """Return False if only other apps were migrated, or jobs only up to an earlier version."""
    earlier = migrated.all_models["jobs"]
    for name, model in apps.all_models["jobs"].items():
        columns = {field.name for field in earlier[name]._meta.fields} if name in earlier else set()
        if not {field.name for field in model._meta.fields} <= columns:
            return False
    return True


def create_defaults(using: str, apps: Apps = apps, **kwargs: Any) -> None:
    """Create the default lists and workstations, once the tables of jobs exist."""
    if not has_todays_tables(apps):
        return
    from jobs.defaults.change_kinds_and_checks import create_default_lists
    from jobs.defaults.part_kinds import create_default_part_kinds
    from jobs.defaults.workstations import create_default_workstations

    create_default_lists(using)
    create_default_part_kinds(using)
    create_default_workstations(using)


class JobsConfig(AppConfig):
    name = "jobs"

    def ready(self) -> None:
        from jobs.job.stages import open_jobs_blocker
        from workshop.additions import add_template
        from workshop.areas import add_to_area
        from workshop.privacy.erase import erasure_checks

        if open_jobs_blocker not in erasure_checks:
            erasure_checks.append(open_jobs_blocker)
        from jobs.records import register_records
        from jobs.runs.refused_uploads import discard_old_uploads
        from workshop.background.abandoned import take_up_steps

        if discard_old_uploads not in take_up_steps:
            take_up_steps.append(discard_old_uploads)
        from jobs.runs.erasing import NAMED_RUN_FILES
        from jobs.tunes.erasing import NAMED_CALIBRATIONS
        from workshop.privacy.documents import register_documents

        register_documents(NAMED_RUN_FILES)
        register_documents(NAMED_CALIBRATIONS)

        register_records()
        for place, template in ADDITIONS:
            add_template(place, template)
        for area, parts in AREAS.items():
            add_to_area(area, *parts)
        post_migrate.connect(create_defaults, sender=self, dispatch_uid="jobs.defaults")
