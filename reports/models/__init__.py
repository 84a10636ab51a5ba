"""Issued sheets, their links and their printing."""

from reports.models.handover import Acknowledgement, HandoverSheet, LinkCall, NoticeWording, SheetLink
from reports.models.printing import Printing

__all__ = ["Acknowledgement", "HandoverSheet", "LinkCall", "NoticeWording", "Printing", "SheetLink"]
