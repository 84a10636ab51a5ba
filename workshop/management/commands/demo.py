"""``manage.py demo``: build the demo shop once, and serve it."""

import os
import sys
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from workshop.data_dir import create_data_dir
from workshop.models import Customer, StaffMember

DEFAULT_PORT = "8000"


class Command(BaseCommand):
    help = "Build the demo shop if needed and serve it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="only build it")
        parser.add_argument("--port", default=os.environ.get("PORT", DEFAULT_PORT))

    def handle(self, *args: Any, **options: Any) -> None:
        create_data_dir(self.stdout.write)
        call_command("migrate", verbosity=0, interactive=False)
        self.build()
        self.print_logins(options["port"])
        if not options["no_serve"]:
            self.serve(options["port"])

    def build(self) -> None:
        from fixtures.crew import STAFF

        if StaffMember.objects.filter(username=STAFF[0][0], email__endswith="saltmarsh.example").exists():
            self.stdout.write("The demo shop is built already.")
            return
        if StaffMember.objects.exists() or Customer.objects.exists():
            raise CommandError(
                "This database contains a real shop. Set another DATA_DIR or DATABASE_URL for the demo."
            )
        self.stdout.write("Building the demo shop …")
        from fixtures.demo_jobs import build_demo_shop
        from fixtures.demo_shop import make_demo_certificate

        make_demo_certificate()
        with transaction.atomic():
            build_demo_shop()

    def print_logins(self, port: str) -> None:
        from fixtures.crew import PASSWORD, STAFF

        self.stdout.write(f"\n  http://127.0.0.1:{port}/\n\n  log in as")
        for username, first, last, role in STAFF:
            role_name = role.removeprefix("is_").replace("desk", "service desk")
            self.stdout.write(f"    {username:<10} {PASSWORD}   {first} {last}, {role_name}")
        self.stdout.write("\n  All data are invented. Press Ctrl+C to stop.\n")

    def serve(self, port: str) -> None:
        call_command("collectstatic", verbosity=0, interactive=False)
        self.stdout.flush()
        gunicorn = Path(sys.executable).with_name("gunicorn")
        os.execv(  # replaces this process, so that Ctrl+C reaches the server
            gunicorn,
            [str(gunicorn), "--config=python:workshop.server", f"--bind=127.0.0.1:{port}", "workshop.wsgi"],
        )
