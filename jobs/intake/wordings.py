"""What the customer signs on a receipt, in plain words; a signed text is never altered.

A new text is a new version: it gets the next number, and the old ones stay. It is signed in the customer's
language, and stored as it was read.
"""

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop


@dataclass(frozen=True)
class Wording:
    """One version of the sentences that the signature is given for; ``%(limit)s`` is an amount of money."""

    condition: str
    work: str
    within_limit: str
    no_limit: str
    dyno: str
    record: str


WORDINGS = {
    1: Wording(
        condition=gettext_noop(
            "The bike was handed in as listed here: condition and marks, photos, odometer, fuel and keys. "
            "What is not listed was not recorded."
        ),
        work=gettext_noop("The shop may do the work listed here."),
        within_limit=gettext_noop(
            "The shop may go up to %(limit)s in all without asking again. It asks before it goes above that."
        ),
        no_limit=gettext_noop(
            "No limit in money was agreed. The shop asks before it does any work that is not listed here."
        ),
        dyno=gettext_noop(
            "The bike may be run on the dyno at high load and high engine speed. Parts that are worn or have "
            "hidden faults may fail under that load, such as engine, clutch, chain or tyre."
        ),
        record=gettext_noop(
            "This receipt records what was agreed. It takes away no right that the law gives either side."
        ),
    ),
}
CURRENT = max(WORDINGS)


def agreed_sentences(limit: str) -> list[str]:
    """Return the sentences of the current wording; ``limit`` is the amount with its currency, or ""."""
    wording = WORDINGS[CURRENT]
    money = _(wording.within_limit) % {"limit": limit} if limit else _(wording.no_limit)
    return [_(wording.condition), _(wording.work), money, _(wording.dyno), _(wording.record)]
