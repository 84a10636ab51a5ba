from django.apps import AppConfig


class WorkshopConfig(AppConfig):
    name = "workshop"

    def ready(self) -> None:
        from workshop import system_checks as checks  # noqa: F401  (registers them; needs the app registry)
