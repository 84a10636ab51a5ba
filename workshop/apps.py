from django.apps import AppConfig


class WorkshopConfig(AppConfig):
    name = "workshop"

    def ready(self) -> None:
        from django import forms

        from workshop import system_checks as checks  # noqa: F401  (registers them; needs the app registry)
        from workshop.areas import add_to_area
        from workshop.background.abandoned import take_up_steps
        from workshop.languages import translate_calculations
        from workshop.mail.outbox import take_up_mails
        from workshop.records.plain_text import refuse_direction_controls

        translate_calculations()
        add_to_area("shop", "staff", "instruments", "instrument-checks")
        if take_up_mails not in take_up_steps:
            take_up_steps.append(take_up_mails)

        # Every text of every form, those of Django and of formsets included.
        forms.CharField.default_validators = [refuse_direction_controls]
