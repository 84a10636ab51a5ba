"""Filters that print the facts of a receipt."""

from decimal import Decimal

from django import template

from jobs.calc.units.numbers import format_number
from jobs.intake.receipt import AuthorisationFacts
from jobs.intake.receipt_changes import describe_authorisation

register = template.Library()


@register.filter
def amount(text: str | Decimal) -> str:
    """Return an amount with two decimals."""
    return format_number(Decimal(text), 2)


@register.filter
def asked(answer: AuthorisationFacts, currency: str) -> str:
    """Return in a sentence who was asked to authorise what, and the answer."""
    return describe_authorisation(answer, currency)
