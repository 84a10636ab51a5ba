"""``manage.py make_certificate``: make a self-signed certificate that issued sheets are signed with."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from reports.typesetting.signing import make_certificate
from workshop.models import ShopProfile


class Command(BaseCommand):
    help = (
        "Make a self-signed certificate for the shop. Sheets issued from then on are signed with it. "
        "It shows that they come from one shop, not who the shop is."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        name, path = ShopProfile.current().name, Path(settings.SIGNING_CERTIFICATE)
        if not name:
            raise CommandError("The shop has no name yet. Enter it on the page of the shop first.")
        try:
            make_certificate(name, path, settings.SIGNING_PASSPHRASE, timezone.now())
        except FileExistsError as problem:
            raise CommandError(f"There is a certificate already: {path}. It was not replaced.") from problem
        except OSError as problem:
            raise CommandError(f"{path} could not be written: {problem.strerror}.") from problem
        self.stdout.write(f"Certificate for {name} written to {path}. Back it up: no backup contains it.")
