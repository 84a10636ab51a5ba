"""Vehicle identification numbers (ISO 3779) and their check digit (49 CFR 565.15).

The check digit is compulsory in North America (and, from memory, in China) and free elsewhere, and
older frames have shorter numbers, so the result is a hint and never a reason to refuse a bike.
"""

from dataclasses import dataclass

LENGTH = 17
CHECK_POSITION = 8  # the ninth
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
LETTER_VALUES = dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", (*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)), strict=True)
)
VALUES = LETTER_VALUES | {str(digit): digit for digit in range(10)}


@dataclass(frozen=True)
class Vin:
    """A vehicle identification number with what it shows by itself."""

    text: str  # in capitals, without spaces
    fault: str  # '', 'length', 'letter O', 'character -': the first fault found

    @property
    def well_formed(self) -> bool:
        return not self.fault

    @property
    def weighted_sum(self) -> int | None:
        """Weighted sum of the characters, or None if the number is not well formed."""
        if not self.well_formed:
            return None
        return sum(VALUES[character] * weight for character, weight in zip(self.text, WEIGHTS, strict=True))

    @property
    def check_digit(self) -> str | None:
        """Check digit that the ninth character should be, or None if not well formed."""
        if self.weighted_sum is None:
            return None
        remainder = self.weighted_sum % 11
        return "X" if remainder == 10 else str(remainder)

    @property
    def check_digit_matches(self) -> bool | None:
        """True if the ninth character is the check digit, or None if not well formed."""
        return None if self.check_digit is None else self.text[CHECK_POSITION] == self.check_digit

    @property
    def hint(self) -> str | None:
        """Sentence for the person who typed the number, or None if nothing is doubtful."""
        if self.fault == "length":
            return (
                f"This VIN has {len(self.text)} characters, not {LENGTH}. "
                "That is right for frames from before 1981. Otherwise check it."
            )
        if self.fault:
            sign = self.fault.split(" ")[-1]
            return f"A VIN never contains {sign}. Check for 0 instead of O or Q, or 1 instead of I."
        if not self.check_digit_matches:
            return (
                f"Check the VIN. On a North American bike the 9th character should be {self.check_digit}; "
                "elsewhere it can be anything. If it matches the frame, leave it."
            )
        return None


def read_vin(text: str) -> Vin:
    """Read a number as typed, without the spaces and dashes between its groups."""
    vin = "".join(text.upper().split()).replace("-", "")
    return Vin(vin, _find_fault(vin))


def _find_fault(vin: str) -> str:
    if len(vin) != LENGTH:
        return "length"
    strange = next((character for character in vin if character not in VALUES), "")
    if not strange:
        return ""
    return f"letter {strange}" if strange in "IOQ" else f"character {strange}"
