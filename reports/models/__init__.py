"""Issued sheets, their links and their printing, and the talk-through."""

from reports.models.handover import Acknowledgement, HandoverSheet, LinkCall, NoticeWording, SheetLink
from reports.models.printing import Printing
from reports.models.talk_through import Publication, TalkThrough

__all__ = [
    "Acknowledgement",
    "HandoverSheet",
    "LinkCall",
    "NoticeWording",
    "Printing",
    "Publication",
    "SheetLink",
    "TalkThrough",
]
