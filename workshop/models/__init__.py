"""Models of the shop itself, which know nothing of jobs."""

from workshop.models.backups import BackupTaken
from workshop.models.base import Record, StaleRecord
from workshop.models.customers import Bike, Customer, FoundWord
from workshop.models.document_decisions import DocumentDecision
from workshop.models.engines import ClearanceKind, EngineSpec, Side, Valve
from workshop.models.instruments import Instrument, InstrumentCheck
from workshop.models.mail import OutgoingMail
from workshop.models.people import Role, StaffMember
from workshop.models.personal_data import PersonalData
from workshop.models.shop import ShopProfile
from workshop.models.stock import ShimStock
from workshop.models.submissions import Submission

__all__ = [
    "BackupTaken",
    "Bike",
    "ClearanceKind",
    "Customer",
    "DocumentDecision",
    "EngineSpec",
    "FoundWord",
    "Instrument",
    "InstrumentCheck",
    "OutgoingMail",
    "PersonalData",
    "Record",
    "Role",
    "ShimStock",
    "ShopProfile",
    "Side",
    "StaffMember",
    "StaleRecord",
    "Submission",
    "Valve",
]
