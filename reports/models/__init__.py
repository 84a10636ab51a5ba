"""What has left the shop."""

from reports.models.handover import Acknowledgement, HandoverSheet, NoticeWording, SheetLink

__all__ = ["Acknowledgement", "HandoverSheet", "NoticeWording", "SheetLink"]
