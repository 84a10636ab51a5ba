"""How a sentence writes a length: kept in millimetres, told in the unit that its reader measures in."""

from decimal import Decimal

from jobs.calc.units.numbers import format_number


def format_mm(value: float | Decimal) -> str:
    """Hundredths of a millimetre, and further only as far as needed (0.15, 0.125)."""
    text = f"{float(value):.4f}".rstrip("0")
    whole, _, decimals = text.partition(".")
    return f"{whole}.{decimals:0<2}"


class LengthFormatter:
    """Lengths as sentences write them: in millimetres, unless a page asks for its shop's unit."""

    unit = "mm"

    def format_number(self, length_mm: float | Decimal) -> str:
        """The number alone, as fine as a blade can tell."""
        return format_mm(length_mm)

    def format_change(self, length_mm: float, *, signed: bool = False) -> str:
        """The number of a change, which is finer than a blade."""
        return format_number(length_mm, 3, signed=signed)

    def format_coarse(self, length_mm: float) -> str:
        """The number of a length taken with a rule."""
        return f"{length_mm:.1f}".removesuffix(".0")

    def __call__(self, length_mm: float | Decimal) -> str:
        return f"{self.format_number(length_mm)} {self.unit}"

    def format_range(self, low_mm: float | Decimal, high_mm: float | Decimal) -> str:
        return f"{self.format_number(low_mm)} to {self(high_mm)}"


IN_MM = LengthFormatter()
