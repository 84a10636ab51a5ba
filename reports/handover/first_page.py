"""The first page of the sheet: as much of each text as fits, measured on a trial layout.

It always contains what was asked, what was done, what changed and whether the bike may be ridden on the road.
The curves are made lower first, then whole sentences are dropped; the first sentence of each text stays.

CSS alone cannot do this. WeasyPrint 70 omits the ``block-ellipsis`` if the last line left by ``max-lines``
ends in a line break, so text would be cut without notice. A limit applies to one block, so the texts cannot
share the page. And the layout does not report what it cut, which part 1 has to print in full.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

from jobs.job_page.facts import BRIEF
from reports.handover.snapshot.schema import Snapshot

MAX_PANEL_IN, USUAL_PANEL_IN, LOW_PANEL_IN, MIN_PANEL_IN = (
    1.3,
    1.0,
    0.7,
    0.5,
)  # heights of one panel of the curves
# The most that is tried of each text [characters, rows]; later pages print the rest.
ASKED_LENGTH, SENTENCE_LENGTH, MIN_LENGTH = 700, 360, 85
MAX_DONE_ROWS, MAX_CAUSES = 12, 8
USUAL_ROWS = 4  # of each text, before the curves are made lower again
CHARACTERS_PER_LINE = 80
SURELY_FITTING_LINES = 8
# As in the style sheet [CSS pixels].
IN, MM = 96.0, 96 / 25.4
LINE, ASIDE, LIST_GAP = 9 * 1.42 * IN / 72, 8 * 1.42 * IN / 72 + 1.8 * MM, 1.4 * MM
HEIGHT_MM, MARGINS_MM, SLACK = {"A4": 297.0, "Letter": 279.4}, 14.0 + 17.0, 3.0
PANELS = 2
SHORTENED_TEXTS = ("asked", "done", "causes")
ENDS = re.compile(r"(?<=[.!?…])\s+|(?<=[。！？])|\n")


@dataclass(frozen=True)
class FirstPage:
    """Texts of the first page and the height of a panel of its curves [in]."""

    asked: tuple[str, ...]
    done: tuple[str, ...]
    changed: tuple[str, ...]
    causes: tuple[str, ...]
    reason: str
    panel_in: float = MAX_PANEL_IN
    asked_more: bool = False
    done_more: int = 0
    causes_more: int = 0
    clipped: tuple[str, ...] = ()  # in full, the texts that are truncated on this page

    @property
    def is_shortened(self) -> bool:
        """Return True if something is left out that a later page has to print."""
        return self.asked_more or self.done_more > 0 or bool(self.clipped)

    def without_last(self, name: str) -> "FirstPage":
        """Return the page with one sentence less of what was asked, what was done or the causes."""
        rest = getattr(self, name)[:-1]
        if name == "asked":
            return replace(self, asked=rest, asked_more=True)
        if name == "done":
            return replace(self, done=rest, done_more=self.done_more + 1)
        return replace(self, causes=rest, causes_more=self.causes_more + 1)


def first_page(snapshot: Snapshot, measure: Callable[[FirstPage], Mapping[str, float]]) -> FirstPage:
    """Return as much of the texts as fits on the page.

    Parameters
    ----------
    snapshot : Snapshot
        Of the sheet.
    measure : callable
        Returns the positions of the elements with an id on the trial page
        (``reports/handover/sheet/trial.html``) filled with a page's texts [CSS pixels]. Called once, or not
        at all if the texts are few and short.
    """
    full = full_content(snapshot)
    if surely_fits(full, snapshot):
        return full
    # Lay out the lines that point to later pages too, so that their height is known.
    positions = measure(replace(full, asked_more=True, done_more=max(1, full.done_more)))
    room = (HEIGHT_MM[snapshot.shop.paper] - MARGINS_MM) * MM - SLACK
    height = positions["page-end"] - positions["page-start"]
    versions = list(shortened_versions(full))
    fitting = (version for version in versions if height - height_saved(version, full, positions) <= room)
    return next(fitting, None) or minimal_content(versions[-1], snapshot)


def height_saved(page: FirstPage, full: FirstPage, positions: Mapping[str, float]) -> float:
    """Return by how much the page is lower than the trial page [CSS pixels]."""
    saved = PANELS * (full.panel_in - page.panel_in) * IN if "curves" in positions else 0.0
    if not page.asked_more:
        saved += ASIDE
    if not page.done_more and page.done:
        saved += ASIDE
    for name in ("asked", "causes"):  # running text: by the lines in which sentences end
        count, full_count = len(getattr(page, name)), len(getattr(full, name))
        if count < full_count:
            saved += positions[f"{name}-{full_count - 1}"] - positions[f"{name}-{count - 1}"]
    if page.causes_more and not full.causes_more:
        saved -= LINE
    if len(page.done) < len(full.done):
        saved += positions["done-end"] - positions[f"done-{len(page.done)}"] - LIST_GAP
    return saved


def full_content(snapshot: Snapshot) -> FirstPage:
    """Return the most that the page may say, in whole sentences."""
    asked, asked_more = excerpt(sentences(snapshot.get(BRIEF).asked), ASKED_LENGTH)
    done, causes = snapshot.done, snapshot.notices.causes
    reason, changed = snapshot.sheet.override_reason, snapshot.changed
    page = FirstPage(
        asked=truncate_all(asked),
        done=truncate_all(done[:MAX_DONE_ROWS]),
        changed=truncate_all(changed),
        causes=truncate_all(causes[:MAX_CAUSES]),
        reason=truncate(reason),
        asked_more=asked_more or any(len(sentence) > SENTENCE_LENGTH for sentence in asked),
        done_more=max(0, len(done) - MAX_DONE_ROWS),
        causes_more=max(0, len(causes) - MAX_CAUSES),
    )
    whole = (*done[:MAX_DONE_ROWS], *changed, reason)
    return replace(page, clipped=tuple(text for text in whole if len(text) > SENTENCE_LENGTH))


def minimal_content(page: FirstPage, snapshot: Snapshot) -> FirstPage:
    """Return the start of each text, used if even single sentences are too long."""
    whole = (*snapshot.done[:1], *snapshot.changed, snapshot.sheet.override_reason)
    return replace(
        page,
        asked=truncate_all(page.asked, MIN_LENGTH),
        done=truncate_all(page.done, MIN_LENGTH),
        changed=truncate_all(page.changed, MIN_LENGTH),
        causes=truncate_all(page.causes, MIN_LENGTH),
        reason=truncate(page.reason, MIN_LENGTH),
        panel_in=MIN_PANEL_IN,
        asked_more=True,
        clipped=tuple(text for text in whole if len(text) > MIN_LENGTH),
    )


def sentences(text: str) -> list[str]:
    """Split a text into sentences and lines, with the space or line break after them."""
    ends = [0, *(end.end() for end in ENDS.finditer(text)), len(text)]
    return [text[start:end] for start, end in pairwise(ends) if text[start:end].strip()]


def excerpt(parts: Sequence[str], length: int) -> tuple[Sequence[str], bool]:
    """Return the first sentences up to a length, at least one, and True if there are more."""
    count = max(1, sum(total <= length for total in accumulate(map(len, parts))))
    return parts[:count], count < len(parts)


def truncate_all(texts: Sequence[str], length: int = SENTENCE_LENGTH) -> tuple[str, ...]:
    return tuple(truncate(text, length) for text in texts)


def truncate(text: str, length: int = SENTENCE_LENGTH) -> str:
    """Return the text, cut after a whole word if it is too long."""
    if len(text) <= length:
        return text
    cut = text[:length]
    return (cut.rsplit(None, 1)[0] if " " in cut.strip() else cut) + " …"


def surely_fits(page: FirstPage, snapshot: Snapshot) -> bool:
    """Return True if the texts are so few and short that no trial layout is needed."""
    texts = [*page.asked, *page.done, *page.changed, *page.causes, page.reason]
    heads = [snapshot.shop.name, snapshot.bike.title, snapshot.customer.name]
    lines = sum(len(text) // CHARACTERS_PER_LINE + 1 for text in texts if text)
    plain = "".join(texts).isascii() and all(len(head) < CHARACTERS_PER_LINE // 2 for head in heads)
    tall = snapshot.shop.logo or snapshot.sheet.supersedes or page.reason
    return plain and not tall and lines <= SURELY_FITTING_LINES


def shortened_versions(page: FirstPage) -> Iterator[FirstPage]:
    """Yield the page, then ever shorter versions, down to the first sentence of each text."""
    yield page
    for panel_in in (1.2, 1.1, USUAL_PANEL_IN):
        page = replace(page, panel_in=panel_in)
        yield page
    for min_rows in (USUAL_ROWS, 1):
        while len(getattr(page, longest := longest_text(page))) > min_rows:
            page = page.without_last(longest)
            yield page
        if page.panel_in > LOW_PANEL_IN:
            for panel_in in (0.9, 0.8, LOW_PANEL_IN):
                page = replace(page, panel_in=panel_in)
                yield page


def longest_text(page: FirstPage) -> str:
    """Return the name of the text with the most sentences."""
    return max(SHORTENED_TEXTS, key=lambda name: len(getattr(page, name)))
