"""Names in binding records: one rule and one sentence wherever a person is held to a record."""

import pytest
from django import forms
from django.core.exceptions import ValidationError
from django.urls import get_resolver

from workshop.people.names import NAME_NEEDED, PersonNameField, is_person_name

# Names of things, and of the customer whose name is typed to be sure.
OTHER_NAMES = {
    ("BandForm", "name"),
    ("EraseForm", "name"),
    ("KindForm", "offered_name"),
    ("KindForm", "run_name"),
    ("NameForm", "name"),
}


@pytest.mark.parametrize("name", ["Ines Quill", "Bo", "李明", "Ó Cé", "J. Vane", "राम कुमार"])
def test_names_of_people_are_accepted(name: str) -> None:
    assert is_person_name(name)
    assert PersonNameField().clean(f" {name} ") == name


@pytest.mark.parametrize("text", ["x", "X.", "--", "?", "12", "xx", "x X", "…", "7 a"])
def test_texts_that_name_nobody_are_refused_with_one_sentence(text: str) -> None:
    assert not is_person_name(text)
    with pytest.raises(ValidationError) as refused:
        PersonNameField().clean(text)
    assert refused.value.messages == [NAME_NEEDED]


def all_forms(kind: type[forms.BaseForm] = forms.BaseForm) -> set[type[forms.BaseForm]]:
    get_resolver().url_patterns  # noqa: B018  (imports every form of the product)
    below = set().union(*(all_forms(form) for form in kind.__subclasses__()))
    ours = kind.__module__.split(".")[0] in ("workshop", "jobs", "reports")
    return below | ({kind} if ours and hasattr(kind, "base_fields") else set())


def test_every_field_that_names_a_person_in_a_binding_record_uses_the_rule() -> None:
    named = {
        (form.__name__, name): field
        for form in all_forms()
        if not issubclass(form, forms.ModelForm)
        for name, field in form.base_fields.items()
        if type(field) in (forms.CharField, PersonNameField)
        and (
            "name" in name or {"name", "who", "whom", "signed"} & set(str(field.label or "").lower().split())
        )
    }
    binding = {key for key, field in named.items() if isinstance(field, PersonNameField)}
    assert {("SignForm", "signed_by"), ("IssueForm", "told"), ("AcknowledgeForm", "name")} <= binding
    assert named.keys() - binding - OTHER_NAMES == set()
