"""The first page of the sheet: as much of each text as it holds, found by laying it out.

It always holds what was asked, what was done, what changed and whether the bike may be ridden on the road.
What gives way is the height of the curves, then whole sentences; each text keeps its first.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from reports.handover.snapshot.schema import Snapshot

HIGHEST_IN, USUAL_IN, LOWEST_IN, LEAST_IN = 1.3, 1.0, 0.7, 0.5  # of one panel of the curves
# How much of each is offered at all: what is beyond stands further back on the sheet.
ASKED_LETTERS, SENTENCE_LETTERS, FEWEST_LETTERS = 700, 360, 85
DONE_ROWS, CAUSES = 12, 8
USUAL_ROWS = 4  # of each text, before the curves shrink further
LETTERS_A_LINE = 80
LINES_SURE_TO_FIT = 8
# As the style sheet has them, in CSS pixels.
IN, MM = 96.0, 96 / 25.4
LINE, ASIDE, LIST_GAP = 9 * 1.42 * IN / 72, 8 * 1.42 * IN / 72 + 1.8 * MM, 1.4 * MM
HEIGHT_MM, MARGINS_MM, SLACK = {"A4": 297.0, "Letter": 279.4}, 14.0 + 17.0, 3.0
PANELS = 2
GIVING_WAY = ("asked", "done", "causes")
ENDS = re.compile(r"(?<=[.!?…])\s+|(?<=[。！？])|\n")


@dataclass(frozen=True)
class FirstPage:
    """What the first page says, and how high a panel of its curves is [in]."""

    asked: tuple[str, ...]
    done: tuple[str, ...]
    changed: tuple[str, ...]
    causes: tuple[str, ...]
    reason: str
    panel_in: float = HIGHEST_IN
    asked_more: bool = False
    done_more: int = 0
    causes_more: int = 0
    clipped: tuple[str, ...] = ()  # the whole of what is only begun here

    @property
    def is_short(self) -> bool:
        """Whether something is left out that has to be said further back."""
        return self.asked_more or self.done_more > 0 or bool(self.clipped)

    def without_last(self, name: str) -> "FirstPage":
        """With one sentence less of what was asked, what was done or the causes."""
        kept = getattr(self, name)[:-1]
        if name == "asked":
            return replace(self, asked=kept, asked_more=True)
        if name == "done":
            return replace(self, done=kept, done_more=self.done_more + 1)
        return replace(self, causes=kept, causes_more=self.causes_more + 1)


def first_page(snapshot: Snapshot, measure: Callable[[FirstPage], Mapping[str, float]]) -> FirstPage:
    """As much of what there is to say as the page holds.

    Parameters
    ----------
    snapshot : Snapshot
        Of the sheet.
    measure : callable
        Where the marks of the trial page (``reports/handover/sheet/trial.html``) lie when it is filled
        with all this [CSS pixels]. It is asked once, and not at all where the texts are few and short.
    """
    offered = offer(snapshot)
    if is_sure_to_fit(offered, snapshot):
        return offered
    # The lines that say there is more are laid out too, so that their room is known.
    at = measure(replace(offered, asked_more=True, done_more=max(1, offered.done_more)))
    room = (HEIGHT_MM[snapshot.shop.paper] - MARGINS_MM) * MM - SLACK
    full = at["page-end"] - at["page-start"]
    ways = list(shorter_and_shorter(offered))
    fitting = (way for way in ways if full - freed(way, offered, at) <= room)
    return next(fitting, None) or briefest(ways[-1], snapshot)


def freed(page: FirstPage, offered: FirstPage, at: Mapping[str, float]) -> float:
    """By how much less height the page takes than the one that was laid out with all that is offered."""
    height = PANELS * (offered.panel_in - page.panel_in) * IN if "curves" in at else 0.0
    if not page.asked_more:
        height += ASIDE
    if not page.done_more and page.done:
        height += ASIDE
    for name in ("asked", "causes"):  # running text: by the lines in which sentences end
        kept, count = len(getattr(page, name)), len(getattr(offered, name))
        if kept < count:
            height += at[f"{name}-{count - 1}"] - at[f"{name}-{kept - 1}"]
    if page.causes_more and not offered.causes_more:
        height -= LINE
    if len(page.done) < len(offered.done):
        height += at["done-end"] - at[f"done-{len(page.done)}"] - LIST_GAP
    return height


def offer(snapshot: Snapshot) -> FirstPage:
    """Everything that may stand on the page, in whole sentences."""
    asked, asked_more = beginning(sentences(snapshot.brief.asked), ASKED_LETTERS)
    done, causes = snapshot.done, snapshot.notices.causes
    reason, changed = snapshot.sheet.override_reason, snapshot.changed
    page = FirstPage(
        asked=tuple(clip(each) for each in asked),
        done=tuple(clip(each) for each in done[:DONE_ROWS]),
        changed=tuple(clip(each) for each in changed),
        causes=tuple(clip(each) for each in causes[:CAUSES]),
        reason=clip(reason),
        asked_more=asked_more or any(clip(each) != each for each in asked),
        done_more=max(0, len(done) - DONE_ROWS),
        causes_more=max(0, len(causes) - CAUSES),
    )
    whole = (*done[:DONE_ROWS], *changed, reason)
    return replace(page, clipped=tuple(text for text in whole if clip(text) != text))


def briefest(page: FirstPage, snapshot: Snapshot) -> FirstPage:
    """The last resort, where even single sentences are too long: the beginning of each."""

    def begun(texts: Sequence[str]) -> tuple[str, ...]:
        return tuple(clip(text, FEWEST_LETTERS) for text in texts)

    whole = (*snapshot.done[:1], *snapshot.changed, snapshot.sheet.override_reason)
    return replace(
        page,
        asked=begun(page.asked),
        done=begun(page.done),
        changed=begun(page.changed),
        causes=begun(page.causes),
        reason=clip(page.reason, FEWEST_LETTERS),
        panel_in=LEAST_IN,
        asked_more=True,
        clipped=tuple(text for text in whole if len(text) > FEWEST_LETTERS),
    )


def sentences(text: str) -> list[str]:
    """A text in sentences, each with the blank or break after it; a line of its own is one as well."""
    parts: list[str] = []
    at = 0
    for end in ENDS.finditer(text):
        parts.append(text[at : end.end()])
        at = end.end()
    return [part for part in (*parts, text[at:]) if part.strip()]


def beginning(parts: Sequence[str], letters: int) -> tuple[list[str], bool]:
    """The first sentences up to so many letters, at least one, and whether there are more."""
    kept: list[str] = []
    for part in parts:
        if kept and sum(map(len, kept)) + len(part) > letters:
            break
        kept.append(part)
    return kept, len(kept) < len(parts)


def clip(text: str, letters: int = SENTENCE_LETTERS) -> str:
    """A text as it is, or its beginning up to a whole word where it is longer than a sentence should be."""
    if len(text) <= letters:
        return text
    cut = text[:letters]
    return (cut.rsplit(None, 1)[0] if " " in cut.strip() else cut) + " …"


def is_sure_to_fit(page: FirstPage, snapshot: Snapshot) -> bool:
    """Whether it need not be laid out to be known to fit: few short texts of plain letters."""
    texts = [*page.asked, *page.done, *page.changed, *page.causes, page.reason]
    heads = [snapshot.shop.name, snapshot.bike.title, snapshot.customer.name]
    lines = sum(len(text) // LETTERS_A_LINE + 1 for text in texts if text)
    plain = "".join(texts).isascii() and all(len(head) < LETTERS_A_LINE // 2 for head in heads)
    tall = snapshot.shop.logo or snapshot.sheet.supersedes or page.reason
    return plain and not tall and lines <= LINES_SURE_TO_FIT


def shorter_and_shorter(page: FirstPage) -> Iterator[FirstPage]:
    """The page as offered, then each time with a little less, down to the first sentence of each text."""
    yield page
    for panel_in in (1.2, 1.1, USUAL_IN):
        page = replace(page, panel_in=panel_in)
        yield page
    for fewest in (USUAL_ROWS, 1):
        while max(len(getattr(page, name)) for name in GIVING_WAY) > fewest:
            name = max(GIVING_WAY, key=lambda each: len(getattr(page, each)))
            page = page.without_last(name)
            yield page
        if page.panel_in > LOWEST_IN:
            for panel_in in (0.9, 0.8, LOWEST_IN):
                page = replace(page, panel_in=panel_in)
                yield page
