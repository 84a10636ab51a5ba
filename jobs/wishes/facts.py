"""The customer's wishes on the handover sheet."""

from dataclasses import dataclass, field

from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.models import Wish
from jobs.wishes.evidence import evidence_of_wishes


@dataclass(frozen=True)
class EvidenceFacts:
    """A record that shows the answer, and the section of the sheet that prints it."""

    title: str
    name: str
    printed: str


@dataclass(frozen=True)
class WishFacts:
    """A wish with its answer.

    An answer without a record is the words of the person in ``answered_by``, and is shown as such.
    """

    text: str
    result: str
    result_label: str
    answer: str
    answered_by: str
    records: list[EvidenceFacts] = field(default_factory=list)


def wish_facts(results: JobResults) -> list[WishFacts]:
    """Return the wishes in their order; none if the request was not split into wishes."""
    evidence = results.get(evidence_of_wishes)
    return [
        WishFacts(
            text=wish.text,
            result=wish.result,
            result_label=wish.get_result_display(),
            answer=wish.answer,
            answered_by=str(wish.answered_by or ""),
            records=[EvidenceFacts(item.title, item.name, item.printed) for item in evidence[wish.pk]],
        )
        for wish in results.rows(Wish)
    ]


WISHES = Printed(
    "wishes",
    wish_facts,
    list[WishFacts],
    heading="Your wishes",
    title="wishes",
    template="jobs/wishes/_sheet.html",
    absent=[],
)
