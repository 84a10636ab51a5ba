"""``manage.py migrate``: Django's own, which makes the shop's folder first where there is none."""

from typing import Any

from django.core.management.commands import migrate

from workshop.data_dir import make_shop_folder


class Command(migrate.Command):
    def execute(self, *args: Any, **options: Any) -> str | None:
        # Before Django's own checks, which open the database.
        make_shop_folder(self.stdout.write)
        return super().execute(*args, **options)
