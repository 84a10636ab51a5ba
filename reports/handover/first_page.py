"""The first page of the sheet: as much of each text as fits, tried on a trial layout.

It always answers what was asked, what came in, what is in the bike now and whether the road is allowed. If
that is too much for a page, it says less of each; later pages print everything in full.

CSS alone cannot do this. WeasyPrint 70 omits the ``block-ellipsis`` if the last line left by ``max-lines``
ends in a line break, and it does not report what it cut.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

from django.utils.translation import gettext as _

from jobs.job_page.facts import BRIEF
from reports.handover import story
from reports.handover.snapshot.schema import Snapshot

ENDS = re.compile(r"(?<=[.!?…])\s+|(?<=[。！？])|\n")


@dataclass(frozen=True)
class Room:
    """How much of each text is tried: characters, rows, and the least height of the picture [mm]."""

    asked: int
    text: int
    topics: int
    causes: int
    rides: int
    service: int
    picture_mm: float  # 0 for none

    @property
    def is_tight(self) -> bool:
        """Return True if even the headline and the wishes have to be short."""
        return self.text <= 60


ROOMS = (
    Room(asked=480, text=200, topics=8, causes=4, rides=5, service=4, picture_mm=60),
    Room(asked=420, text=180, topics=6, causes=4, rides=5, service=3, picture_mm=56),
    Room(asked=320, text=160, topics=5, causes=3, rides=5, service=3, picture_mm=52),
    Room(asked=320, text=140, topics=4, causes=3, rides=5, service=2, picture_mm=46),
    Room(asked=240, text=120, topics=3, causes=2, rides=5, service=2, picture_mm=42),
    Room(asked=180, text=90, topics=3, causes=2, rides=5, service=1, picture_mm=36),
    Room(asked=180, text=130, topics=4, causes=2, rides=7, service=2, picture_mm=0),
    Room(asked=150, text=90, topics=3, causes=2, rides=7, service=1, picture_mm=0),
    Room(asked=120, text=60, topics=2, causes=1, rides=3, service=1, picture_mm=0),
    Room(asked=60, text=40, topics=2, causes=1, rides=2, service=1, picture_mm=0),
)
MIN_WISHES = 4  # each has its line, before anything else
MAX_PICTURE_MM = 84.0  # a picture takes what the texts leave
SPARE_MM = 1.0
MIDDLE_ROOM = 3  # tried first; the height that it leaves says how many rooms on to try next
STEP_MM = 20.0  # about how much less height a room takes than the one before it
MIN_SHARE = 0.5  # of a text that is cut after a sentence
MIN_WISH, MIN_ANSWER = 60, 110  # characters of a wish and of its answer, unless the room is tight


@dataclass(frozen=True)
class FirstPage:
    """Texts of the first page, and the height of its picture [mm]."""

    picture_mm: float
    headline: str
    deck: tuple[str, ...]
    asked: str
    asked_more: bool
    wishes: tuple[story.WishLine, ...]
    wishes_more: int
    topics: tuple[story.Topic, ...]
    topics_more: int
    done: tuple[str, ...]
    done_more: int
    lead: str
    causes: tuple[str, ...]
    causes_more: int
    rides: tuple[story.Ride, ...]
    service: tuple[str, ...]
    service_more: bool
    not_inspected: str
    reason: str


def first_page(snapshot: Snapshot, room_left: Callable[[FirstPage], float]) -> FirstPage:
    """Return the fullest version of the page that fits.

    Parameters
    ----------
    snapshot : Snapshot
        Of the sheet.
    room_left : callable
        Returns the height that a version leaves on its page [mm], below zero if it is too high. The shortest
        version is taken untried. Each version is taken to be lower than the one before it.
    """
    fullest, shortest, at = 0, len(ROOMS) - 1, MIDDLE_ROOM
    fitting: FirstPage | None = None
    while fullest < shortest:
        page, room = build_page(snapshot, ROOMS[at]), ROOMS[at]
        left = room_left(page)
        steps = max(1, round(abs(left) / STEP_MM))
        if left < 0:
            fullest = at + 1
            at = min(at + steps, shortest - 1)
        else:
            taller = min(MAX_PICTURE_MM, room.picture_mm + left - SPARE_MM)
            fitting = replace(page, picture_mm=max(room.picture_mm, taller) if room.picture_mm else 0.0)
            shortest = at
            at = max(at - steps, fullest)
    return fitting or build_page(snapshot, ROOMS[-1])


def build_page(snapshot: Snapshot, room: Room) -> FirstPage:
    """Return the page with at most so much of each text."""

    def cut(text: str) -> str:
        return truncate(text, room.text)

    asked, asked_more = excerpt(sentences(snapshot.get(BRIEF).asked), room.asked)
    topics, causes, done = story.topics(snapshot), snapshot.notices.causes, snapshot.done
    service, wishes = story.service_lines(snapshot), story.wish_lines(snapshot)
    shortened = "".join(asked).strip()
    wish_count = room.topics if room.is_tight else max(room.topics, MIN_WISHES)
    topic_count = max(2, room.topics - len(wishes) // 2)
    return FirstPage(
        picture_mm=room.picture_mm,
        headline=truncate(story.headline(snapshot), 70 if room.is_tight else 110),
        deck=tuple(truncate(text, max(room.text, 110)) for text in story.deck(snapshot)),
        asked=truncate(shortened, room.asked),
        asked_more=asked_more or len(shortened) > room.asked,
        wishes=tuple(shorten_wish(wish, room) for wish in wishes[:wish_count]),
        wishes_more=max(0, len(wishes) - wish_count),
        topics=tuple(shorten_topic(topic, room.text) for topic in topics[:topic_count]),
        topics_more=max(0, len(topics) - topic_count),
        done=tuple(cut(text) for text in done[: room.topics]),
        done_more=max(0, len(done) - room.topics),
        lead=truncate(snapshot.notices.lead, 2 * room.text),
        causes=tuple(truncate(cause, max(room.text, 110)) for cause in causes[: room.causes]),
        causes_more=max(0, len(causes) - room.causes),
        rides=tuple(story.Ride(cut(ride.lead), truncate(ride.text, max(room.text, 150)))
                    for ride in story.first_rides(snapshot, room.rides)),
        service=tuple(cut(line) for line in service[: room.service]),
        service_more=len(service) > room.service or any(len(line) > room.text for line in service),
        not_inspected=not_inspected(snapshot, room.text),
        reason=cut(snapshot.sheet.override_reason),
    )  # fmt: skip


def shorten_wish(wish: story.WishLine, room: Room) -> story.WishLine:
    """Return a wish with its texts cut to fit their columns."""
    asked, answer = (30, 0) if room.is_tight else (MIN_WISH, MIN_ANSWER)
    return replace(
        wish,
        text=truncate(wish.text, max(asked, room.text // 2)),
        answer=truncate(wish.answer, max(answer, room.text)),
    )


def shorten_topic(topic: story.Topic, length: int) -> story.Topic:
    """Return a topic with its texts cut to fit their columns."""
    cell = max(20, length // 2)
    return story.Topic(
        topic.key,
        truncate(topic.title, cell),
        truncate(topic.before, cell),
        truncate(topic.done, cell),
        truncate(topic.now, length),
        topic.anchor,
        topic.is_open,
    )


def not_inspected(snapshot: Snapshot, length: int) -> str:
    """Return what was not inspected and not tested, in one or two sentences."""
    untested = story.untested_lines(snapshot)
    scope = _("Nothing was inspected that this sheet does not list.") if snapshot.not_inspected else ""
    named = truncate(untested[0], max(60, length // 2)) if untested else ""
    return " ".join(text for text in (scope, named) if text) or _("Nothing is recorded.")


def sentences(text: str) -> list[str]:
    """Split a text into sentences and lines, with the space or line break after them."""
    ends = [0, *(end.end() for end in ENDS.finditer(text)), len(text)]
    return [text[start:end] for start, end in pairwise(ends) if text[start:end].strip()]


def excerpt(parts: Sequence[str], length: int) -> tuple[Sequence[str], bool]:
    """Return the first sentences up to a length, at least one, and True if there are more."""
    count = max(1, sum(total <= length for total in accumulate(map(len, parts))))
    return parts[:count], count < len(parts)


def truncate(text: str, length: int) -> str:
    """Return the text, cut after a sentence if most of it stays, else after a whole word."""
    if len(text) <= length:
        return text
    cut = text[:length]
    ends = [end.start() for end in ENDS.finditer(cut) if end.start() >= length * MIN_SHARE]
    if ends:
        return cut[: ends[-1]] + " …"
    return (cut.rsplit(None, 1)[0] if " " in cut.strip() else cut) + " …"
