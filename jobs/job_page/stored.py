"""Parts of the job page, stored under what they were made from."""

import re
import uuid
from collections.abc import Callable
from hashlib import blake2b
from typing import TypeVar

from django.core.cache import caches
from django.db import connection
from django.utils.crypto import salted_hmac
from django.utils.safestring import SafeString, mark_safe

from jobs.job.registry import JobRecord
from jobs.job.results import JobResults
from workshop.models import Role, StaffMember

T = TypeVar("T")


def stored(record: JobRecord, results: JobResults, made_from: object, make: Callable[[], T]) -> T:
    """Return what was made from the same rows before, or make it now.

    Within a transaction nothing is stored, since what that has written may still be undone.
    """
    if connection.in_atomic_block:
        return make()
    key = cache_key(record, results, made_from)
    value: T | None = caches["sections"].get(key)
    if value is None:
        value = make()
        caches["sections"].set(key, value)
    return value


def cache_key(record: JobRecord, results: JobResults, made_from: object) -> str:
    everything = (record.key, results.get(owner_versions), results.page.section_stamps(record), made_from)
    return blake2b(repr(everything).encode(), digest_size=20).hexdigest()


def owner_versions(results: JobResults) -> list[tuple[object, int]]:
    job = results.job
    owners = (job, job.customer, job.bike, job.bike.engine_spec, results.shop)
    return [(row.pk, row.version) for row in owners if row is not None]


def reader(roles: frozenset[Role]) -> StaffMember:
    """Return a person with these roles only, for whom a stored part is rendered."""
    return StaffMember(**{f"is_{role}": True for role in roles})


def token_mark() -> str:
    """Return what stands for the tokens of a form in a stored part; nobody can type it."""
    return salted_hmac("stored part", "token").hexdigest()


FORM_KEY = re.compile(r'(name="form_key" value=")[^"]*')


def fill_tokens(html: str, csrf_token: str) -> SafeString:
    """Put the request's token, and a new key for each form, into the forms of a stored part."""
    html = html.replace(token_mark(), csrf_token)
    return mark_safe(FORM_KEY.sub(lambda found: f"{found[1]}{uuid.uuid4()}", html))
