"""From bytes to lines: refuse other kinds of file, find the encoding and the line ends."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from jobs.calc.run_file.layout import RunFileError

MAX_BYTES = 64 * 1024 * 1024
MAX_ROWS = 5_000_000
HEAD_BYTES = 256 * 1024
TAIL_BYTES = 8 * 1024

_SPREADSHEET = "This is a spreadsheet. Save the sheet as CSV or text and upload that."
_ARCHIVE = "This is a compressed archive. Unpack it and upload the files in it."
_PICTURE = "This is an image, not a data file."
_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", _SPREADSHEET),
    (b"%PDF", "This is a PDF, not a data file."),
    (b"\x89PNG", _PICTURE),
    (b"\xff\xd8\xff", _PICTURE),
    (b"GIF8", _PICTURE),
    (b"II*\x00", _PICTURE),
    (b"MM\x00*", _PICTURE),
    (b"\x1f\x8b", _ARCHIVE),
    (b"BZh", _ARCHIVE),
    (b"7z\xbc\xaf", _ARCHIVE),
    (b"Rar!", _ARCHIVE),
    (b"\xfd7zXZ", _ARCHIVE),
)
_ZIP = b"PK\x03\x04"
_IN_A_SPREADSHEET = (b"xl/", b"[Content_Types].xml", b"opendocument.spreadsheet")
_BYTE_ORDER_MARKS = (
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe\x00\x00", "utf-32-le"),
    (b"\x00\x00\xfe\xff", "utf-32-be"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
_CONTROLS = bytes(set(range(32)) - set(b"\t\n\r\x0b\x0c\x1a\x1b"))  # not in text
# Data loggers leave unused blocks and the old end-of-file mark behind the last line.
_PADDING = b"\x00\x1a"


@dataclass(frozen=True, eq=False)
class FileText:
    """The bytes of a run file, with one byte for a line feed, and their encoding.

    Attributes
    ----------
    data : bytes
    start, end : int
        Offsets [byte] of the text, after a byte-order mark and before padding.
    encoding : str
        Of ``data``; always a superset of ASCII.
    original_encoding : str
        Of the file.
    """

    data: bytes
    start: int
    end: int
    encoding: str
    original_encoding: str

    def decode(self, start: int, end: int) -> str:
        """Decode the text between two offsets.

        Parameters
        ----------
        start, end : int
            Offsets [byte].

        Returns
        -------
        str
            A replacement character for each byte that is not in the encoding.
        """
        return self.data[start:end].decode(self.encoding, "replace")

    def offset_of_line(self, line: int) -> int:
        """Return where a line begins.

        Parameters
        ----------
        line : int
            Counted from 1.

        Returns
        -------
        int
            Offset [byte]; the end of the text if it has fewer lines.
        """
        offset = self.start
        for _ in range(line - 1):
            found = self.data.find(b"\n", offset, self.end)
            if found < 0:
                return self.end
            offset = found + 1
        return offset

    def count_lines(self, start: int, end: int) -> int:
        """Count the lines between two offsets, a last one without a line feed included.

        Parameters
        ----------
        start, end : int
            Offsets [byte].

        Returns
        -------
        int
        """
        if start >= end:
            return 0
        return self.data.count(b"\n", start, end) + (self.data[end - 1] != 0x0A)

    def head(self) -> list[str]:
        """Return the whole lines within the first `HEAD_BYTES`, without line ends.

        Returns
        -------
        list of str
        """
        end = min(self.end, self.start + HEAD_BYTES)
        lines = self.decode(self.start, end).split("\n")
        if (end < self.end and len(lines) > 1) or (lines and not lines[-1]):
            lines.pop()
        return [line.rstrip("\r") for line in lines]

    def samples(self, count: int = 4, size: int = 2 * 1024) -> Iterator[list[str]]:
        """Yield whole lines from further down, for marks that the head does not show.

        Parameters
        ----------
        count : int
            Number of samples.
        size : int
            Length of each [byte].

        Yields
        ------
        list of str
            Nothing for a short file.
        """
        rest = self.end - self.start - HEAD_BYTES
        for index in range(count if rest > count * size else 0):
            begin = self.start + HEAD_BYTES + rest * index // count
            yield [line.rstrip("\r") for line in self.decode(begin, begin + size).split("\n")[1:-1]]


def open_text(data: bytes, encoding: str | None = None) -> FileText:
    """Open a file as text, or refuse it.

    Parameters
    ----------
    data : bytes
    encoding : str, optional
        Key of `ENCODINGS`; found by default.

    Returns
    -------
    FileText

    Raises
    ------
    RunFileError
        The file is empty, too large, binary, or of a kind that holds no lines of figures.
    """
    blanks = b"\x00\x1a \t\r\n"
    if not data[:HEAD_BYTES].strip(blanks) and not data.strip(blanks):
        raise RunFileError("The file is empty.")
    if len(data) > MAX_BYTES:
        size = len(data) / 1024 / 1024
        raise RunFileError(f"The file is {size:.0f} MB. The limit is {MAX_BYTES // 1024 // 1024} MB.")
    _refuse_other_kinds(data)
    mark, found = _byte_order_mark(data)
    chosen = encoding or found or _encoding_without_mark(data)
    start = len(mark) if mark and chosen == found else 0
    if chosen.startswith(("utf-16", "utf-32")):
        data, start, text_encoding = data[start:].decode(chosen, "replace").encode("utf-8"), 0, "utf-8"
        _refuse_controls(data[:HEAD_BYTES])
    else:
        text_encoding = chosen
        _refuse_controls(data[start : start + HEAD_BYTES].rstrip(_PADDING))
    data = _one_line_feed(data)
    text = FileText(data, start, _end_of_text(data), text_encoding, chosen)
    if text.start >= text.end:
        raise RunFileError("The file is empty.")
    return text


def _refuse_other_kinds(data: bytes) -> None:
    for signature, reason in _SIGNATURES:
        if data.startswith(signature):
            raise RunFileError(reason)
    if data.startswith(_ZIP):
        inside = data[:4096] + data[-65536:]
        raise RunFileError(_SPREADSHEET if any(mark in inside for mark in _IN_A_SPREADSHEET) else _ARCHIVE)


def _byte_order_mark(data: bytes) -> tuple[bytes, str | None]:
    return next(((mark, name) for mark, name in _BYTE_ORDER_MARKS if data.startswith(mark)), (b"", None))


def _encoding_without_mark(data: bytes) -> str:
    head = data[:HEAD_BYTES].rstrip(b"\x00")
    if (wide := _wide_encoding(head[:4096])) is not None:
        return wide
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as error:
        # A character cut in two by the end of the head is no evidence against UTF-8.
        if len(data) <= HEAD_BYTES or error.start < len(head) - 4:
            return "cp1252"
    return "utf-8"


def _wide_encoding(head: bytes) -> str | None:
    """Detect UTF-16 without a mark: every other byte of figures and plain letters is zero."""
    half = len(head) // 2
    if half < 2:
        return None
    even, odd = head[0 : 2 * half : 2].count(0), head[1 : 2 * half : 2].count(0)
    if odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.7 * half and odd < 0.1 * half:
        return "utf-16-be"
    return None


def _refuse_controls(head: bytes) -> None:
    """Refuse binary data: text has hardly any control characters."""
    controls = len(head) - len(head.translate(None, _CONTROLS))
    if controls and controls > len(head) // 1000:
        raise RunFileError("This is a binary file. Export the run as CSV or text and upload that.")


def _one_line_feed(data: bytes) -> bytes:
    """Replace the line ends of old systems, and those doubled in transfer, by one line feed each."""
    head = data[:HEAD_BYTES]
    if b"\r\r\n" in head:
        data = data.replace(b"\r\r\n", b"\n")
    if b"\r" in head and b"\n" not in head:
        return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if b"\r" in data and data.count(b"\r") > data.count(b"\r\n"):
        data = b"\n".join(_part_at_returns(line) for line in data.split(b"\n"))
    return data


def _part_at_returns(line: bytes) -> bytes:
    """Make a line of each part between carriage returns, if most of them have as many cells as each other."""
    body = line.removesuffix(b"\r")
    if b"\r" not in body:
        return line
    parts = body.split(b"\r")
    widths = Counter(_count_cells(part) for part in parts if part.strip())
    usual, count = widths.most_common(1)[0] if widths else (0, 0)
    return b"\n".join(parts) if usual and 2 * count > len(parts) else line


def _count_cells(part: bytes) -> int:
    marks = sum(part.count(mark) for mark in (b",", b";", b"\t", b"|"))
    return marks + 1 if marks else len(part.split())


def _end_of_text(data: bytes) -> int:
    end = len(data)
    while end and data[end - 1] in _PADDING:
        end -= 1
    return end
