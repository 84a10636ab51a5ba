"""Forms of the handover: issuing, mailing the link, acknowledging."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from reports.models import HandoverSheet
from workshop.mail.forms import MailAddressField
from workshop.models import StaffMember
from workshop.people.names import PersonNameField
from workshop.records.field_groups import FieldGroupsMixin


class IssueForm(forms.Form):
    """Form to issue a sheet; the number guards against submitting it twice."""

    issue_number = forms.IntegerField(widget=forms.HiddenInput, min_value=1)
    told = PersonNameField(
        label="Name of the person you told",
        required=False,
        help_text="Printed on the sheet: this person was told that the bike may no longer be road legal.",
    )
    override_reason = forms.CharField(
        label="Reason for issuing anyway",
        max_length=1000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Only the owner can do this. The reason is printed on the sheet.",
    )
    with_link = forms.BooleanField(
        label="Print a QR code with a link for the customer", required=False, initial=True
    )

    def __init__(
        self, *args: Any, by: StaffMember, needs_informed_person: bool, is_blocked: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if not needs_informed_person:
            del self.fields["told"]
        if not (is_blocked and by.is_owner):
            del self.fields["override_reason"]

    @property
    def sheet_options(self) -> dict[str, str]:
        """Return the arguments of ``issue_sheet``; a field that is not shown is empty."""
        fields = {"informed_person": "told", "override_reason": "override_reason"}
        return {option: self.cleaned_data.get(name, "").strip() for option, name in fields.items()}


class HandOverForm(forms.Form):
    """Form to hand the bike over; it asks only for what the sheet does not say already."""

    handed_to = PersonNameField(label="Handed over to", help_text="Name of the person who takes the bike.")
    informed_person = PersonNameField(
        label="Person told about road use",
        required=False,
        help_text="Who was told that the bike may no longer meet what public roads require.",
    )
    override_reason = forms.CharField(
        label="Reason to hand it over despite open points",
        max_length=1000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Only the owner can do this. Every open point is stored and printed with the reason.",
    )

    def __init__(
        self, *args: Any, by: StaffMember, needs_informed_person: bool, is_blocked: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if not needs_informed_person:
            del self.fields["informed_person"]
        if not (is_blocked and by.is_owner):
            del self.fields["override_reason"]

    @property
    def options(self) -> dict[str, str]:
        """Return the arguments of ``hand_over_job``; a field that is not shown is empty."""
        names = ("handed_to", "informed_person", "override_reason")
        return {name: self.cleaned_data.get(name, "").strip() for name in names}


class MailForm(FieldGroupsMixin, forms.Form):
    address = MailAddressField(label="Email address")

    def __init__(self, *args: Any, sheet: HandoverSheet, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"address": sheet.job.customer.email})
        super().__init__(*args, **kwargs)


class QuestionForm(forms.Form):
    question = forms.CharField(
        label=gettext_lazy("Your question about this bike"),
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class AcknowledgeForm(forms.Form):
    name = PersonNameField(
        label=gettext_lazy("Your name"), widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
