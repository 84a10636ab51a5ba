"""Forms of mails: the address, and the note on one that came back."""

from typing import Any

from django import forms

from workshop.models import OutgoingMail
from workshop.records.field_groups import FieldGroupsMixin


class MailAddressField(forms.EmailField):
    """An email address that a mail can reach."""

    default_error_messages = {"invalid": "Enter an email address such as name@example.com."}

    def clean(self, value: Any) -> Any:
        address: str = super().clean(value)
        domain = address.rsplit("@", 1)[-1]
        # No mail server answers for a name without a dot or one reserved for tests (RFC 2606).
        if address and (
            "." not in domain or domain.rsplit(".", 1)[1].lower() in ("invalid", "test", "localhost")
        ):
            raise forms.ValidationError(
                f"“{domain}” cannot receive email. Ask the customer to confirm the address."
            )
        return address


class TestMailForm(FieldGroupsMixin, forms.Form):
    address = MailAddressField(label="Send a test mail to")


class ReturnForm(FieldGroupsMixin, forms.Form):
    """What the mail that came back says."""

    note = forms.CharField(
        label="What the returned mail says",
        max_length=OutgoingMail._meta.get_field("returned_note").max_length,
    )
