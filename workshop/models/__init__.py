"""What the whole shop shares."""

from workshop.models.backups import BackupTaken
from workshop.models.base import Record, StaleRecord
from workshop.models.customers import Bike, Customer, FoundWord
from workshop.models.engines import EngineSpec, Gap, Side, Valve
from workshop.models.people import Role, StaffMember
from workshop.models.personal_data import PersonalData
from workshop.models.shop import ShopProfile
from workshop.models.stock import ShimStock
from workshop.models.submissions import Submission

__all__ = [
    "BackupTaken",
    "Bike",
    "Customer",
    "EngineSpec",
    "FoundWord",
    "Gap",
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
