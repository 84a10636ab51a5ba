"""Forms of mails: the address, and the note on one that came back."""

from typing import Any

from django import forms

from workshop.models import OutgoingMail


class MailAddressField(forms.EmailField):
    """An email address that a mail can reach."""

    default_error_messages = {"invalid": "That is not an e-mail address: name@domain.tld."}

    def clean(self, value: Any) -> Any:
        address: str = super().clean(value)
        domain = address.rsplit("@", 1)[-1]
        # No mail server answers for a name without a dot or one reserved for tests (RFC 2606).
        if address and (
            "." not in domain or domain.rsplit(".", 1)[1].lower() in ("invalid", "test", "localhost")
        ):
            raise forms.ValidationError(f"No mail can reach “{domain}”. Ask the customer for the address.")
        return address


class TestMailForm(forms.Form):
    address = MailAddressField(label="Send a test mail to")


class ReturnForm(forms.Form):
    """What the mail that came back says."""

    note = forms.CharField(
        label="What it says", max_length=OutgoingMail._meta.get_field("returned_note").max_length
    )
