"""The customer's answers to going over the customer's limit."""

from decimal import Decimal

from django.db import transaction

from jobs.models import Authorisation, Job


@transaction.atomic
def record_answer(answer: Authorisation) -> None:
    """Store what the customer said; if they agreed, the authorised amount becomes what was asked for."""
    answer.save()
    if answer.answer == Authorisation.Answer.AGREED:
        job = Job.objects.select_for_update().get(pk=answer.job_id)
        job.authorised_amount = max(job.authorised_amount or Decimal(0), answer.amount)
        job.save()
