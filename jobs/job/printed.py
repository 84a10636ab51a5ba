"""How a record is printed on the handover sheet."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, TypeVar

if TYPE_CHECKING:
    from jobs.job.results import JobResults

T = TypeVar("T", covariant=True)


@dataclass(frozen=True, eq=False)
class Printed(Generic[T]):
    """How a record is printed on the handover sheet.

    Attributes
    ----------
    name : str
        Key of its facts in stored snapshots; it stays for ever.
    facts : callable
        Derive the facts of a job: dataclasses of plain values in SI units, times in UTC.
    kind : type
        Type of the facts, by which stored ones are read.
    heading, template : str
        Heading and template of its section; the template finds the facts as ``facts``.
    title : str
        What a later issue calls the section if it differs.
    absent : any
        Facts of a sheet that was issued before the record existed.
    is_shown : callable
        Whether the facts fill a section.
    """

    name: str
    facts: "Callable[[JobResults], T]"
    kind: Any
    heading: str
    title: str
    template: str
    absent: Any = None
    is_shown: Callable[[T], bool] = bool
