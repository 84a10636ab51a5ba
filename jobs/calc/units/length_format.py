"""Lengths as sentences write them: stored in millimetres, shown in the unit that the shop measures in."""

from decimal import Decimal

from jobs.calc.units.numbers import format_number, format_range
from jobs.calc.wording import localise


def format_mm(value: float | Decimal) -> str:
    """Format a length in hundredths of a millimetre, with more decimals only if needed.

    Parameters
    ----------
    value : float or Decimal
        Length [mm].

    Returns
    -------
    str
        Without unit: '0.15', '0.125'.
    """
    text = f"{float(value):.4f}".rstrip("0")
    whole, _, decimals = text.partition(".")
    return localise(f"{whole}.{decimals:0<2}")


class LengthFormatter:
    """Formats lengths in millimetres; subclasses format them in another unit.

    All methods take lengths [mm]. Calling it formats a length with its unit.
    """

    unit = "mm"

    def format_number(self, length_mm: float | Decimal) -> str:
        """Format without unit, as fine as feeler gauges can tell.

        Parameters
        ----------
        length_mm : float or Decimal
            Length [mm].

        Returns
        -------
        str
        """
        return format_mm(length_mm)

    def format_change(self, length_mm: float, *, signed: bool = False) -> str:
        """Format a change without unit, finer than a single reading.

        Parameters
        ----------
        length_mm : float
            Change [mm].
        signed : bool
            Whether a rise has a plus.

        Returns
        -------
        str
        """
        return format_number(length_mm, 3, signed=signed)

    def format_coarse(self, length_mm: float) -> str:
        """Format without unit a length taken with a ruler.

        Parameters
        ----------
        length_mm : float
            Length [mm].

        Returns
        -------
        str
        """
        return format_number(length_mm, 1, trim=True)

    def format_range(self, low_mm: float | Decimal, high_mm: float | Decimal) -> str:
        """Format a range with its unit.

        Parameters
        ----------
        low_mm, high_mm : float or Decimal
            Limits [mm].

        Returns
        -------
        str
            '0.15 to 0.20 mm'.
        """
        return format_range(self.format_number(low_mm), self(high_mm))

    def __call__(self, length_mm: float | Decimal) -> str:
        return f"{self.format_number(length_mm)} {self.unit}"


IN_MM = LengthFormatter()
