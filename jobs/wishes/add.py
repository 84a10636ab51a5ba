"""Wishes added to a job after those it has."""

from collections.abc import Sequence

from django.db import transaction
from django.db.models import Max

from jobs.models import Job, Wish


@transaction.atomic
def add_wishes(job: Job, texts: Sequence[str]) -> list[Wish]:
    last = job.wishes.aggregate(last=Max("position"))["last"] or 0
    wishes = [Wish(job=job, text=text, position=last + place) for place, text in enumerate(texts, start=1)]
    for wish in wishes:
        wish.save()
    return wishes
