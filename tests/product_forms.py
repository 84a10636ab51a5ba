"""Every form of the product, for tests that walk over all of them."""

import importlib
import pkgutil
from collections.abc import Iterator
from typing import Any

from django import forms

import jobs
import reports
import workshop

APPS = ("workshop.", "jobs.", "reports.")


def subclasses(form: type[Any]) -> Iterator[type[Any]]:
    for subclass in form.__subclasses__():
        yield subclass
        yield from subclasses(subclass)


def product_forms() -> list[type[Any]]:
    for package in (workshop, jobs, reports):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if module.name.endswith(("forms", "fields", "views")):
                importlib.import_module(module.name)
    found = {
        form
        for form in subclasses(forms.BaseForm)
        if form.__module__.startswith(("workshop.", "jobs.", "reports."))
    }
    return sorted(found, key=lambda form: (form.__module__, form.__name__))
