from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate

# Places of jobs' pages, and the links shown there.
ADDITIONS = (
    ("bike page", "reports/documents/_bike_history_link.html"),
    ("check-in", "reports/documents/_job_tag_link.html"),
    ("job page", "reports/handover/_link.html"),
    ("job page", "reports/documents/_job_tag_link.html"),
    ("job page", "reports/documents/_tune_summary_link.html"),
    ("job page", "reports/documents/_export_links.html"),
    ("job page", "reports/talk_through/_link.html"),
    ("signed receipt", "reports/receipt/_links.html"),
    ("tunes", "reports/documents/_tune_summary_link.html"),
)


class ReportsConfig(AppConfig):
    name = "reports"

    def ready(self) -> None:
        from jobs.intake.signing import document_makers
        from jobs.job.registry import register
        from reports import system_checks as checks  # noqa: F401  (importing registers them; the app registry must be ready)
        from reports.customer.links import revoke_links
        from reports.handover.erasing import SHEETS
        from reports.handover.preview import delete_previews
        from reports.handover.record import RECORD
        from reports.receipt.erasing import RECEIPTS
        from reports.receipt.printing import print_receipt
        from reports.talk_through.publishing import revoke_publications
        from reports.tasks import take_up_prints
        from reports.typesetting.pdf import warm_up
        from workshop.additions import add_template
        from workshop.areas import add_to_area
        from workshop.background.abandoned import take_up_steps
        from workshop.background.processes import warm_up_steps
        from workshop.privacy.documents import register_documents
        from workshop.privacy.erase import erasure_steps

        if take_up_prints not in take_up_steps:
            take_up_steps.append(take_up_prints)
        if warm_up not in warm_up_steps:
            warm_up_steps.append(warm_up)
        if revoke_links not in erasure_steps:
            erasure_steps.append(revoke_links)
        if delete_previews not in erasure_steps:
            erasure_steps.append(delete_previews)
        if revoke_publications not in erasure_steps:
            erasure_steps.append(revoke_publications)
        if print_receipt not in document_makers:
            document_makers.append(print_receipt)
        register_documents(RECEIPTS)
        register_documents(SHEETS)

        register(RECORD)
        for place, template in ADDITIONS:
            add_template(place, template)
        add_to_area("jobs", "sheets", "publications")
        post_migrate.connect(make_first_wording, sender=self, dispatch_uid="reports.first_wording")


def make_first_wording(using: str, **kwargs: Any) -> None:
    """Create the first wording of the notices, also after the database was emptied."""
    from django.db import connections

    from reports.handover.notices import current_wording
    from reports.models import NoticeWording

    # The table is missing if only some of the apps were migrated. A later version is added when it is first
    # needed, so that a restored shop has the rows of its backup.
    tables = connections[using].introspection.table_names()
    if NoticeWording._meta.db_table in tables and not NoticeWording.objects.exists():
        current_wording()
