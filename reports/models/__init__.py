"""What has left the shop."""

from reports.models.handover import Acknowledgement, HandoverSheet, LinkCall, NoticeWording, SheetLink
from reports.models.printing import Printing

__all__ = ["Acknowledgement", "HandoverSheet", "LinkCall", "NoticeWording", "Printing", "SheetLink"]
