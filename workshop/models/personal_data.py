"""Personal data that a model may hold about a customer, declared beside its fields."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class PersonalData:
    """Personal data of one model, for export and erasure.

    Attributes
    ----------
    customer : str
        Lookup from a record to the customer it belongs to; "" if it belongs to the whole shop.
    cleared : tuple of str
        Fields that describe the customer. Erasing the customer empties them.
    free_text : tuple of str
        Fields in which someone may have typed the customer's name, phone number or email address.
    """

    customer: str = ""
    cleared: tuple[str, ...] = ()
    free_text: tuple[str, ...] = ()
