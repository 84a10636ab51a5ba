"""From bytes to lines: what is no run file at all, the encoding, and where lines begin."""

from collections.abc import Iterator
from dataclasses import dataclass

from jobs.calc.run_file.layout import RunFileError

MAX_BYTES = 64 * 1024 * 1024
MAX_ROWS = 5_000_000
HEAD_BYTES = 256 * 1024
TAIL_BYTES = 8 * 1024

_SPREADSHEET = (
    "This is a spreadsheet file. Save the sheet as CSV or as text in the spreadsheet program, and send that."
)
_ARCHIVE = "This is a compressed archive. Unpack it and send the files in it."
_PICTURE = "This is a picture, not a file with figures."
_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", _SPREADSHEET),
    (b"%PDF", "This is a PDF, not a file with figures."),
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
_CONTROLS = bytes(set(range(32)) - set(b"\t\n\r\x0b\x0c\x1a\x1b"))  # those that text does not hold
# Bytes that data loggers leave behind the last line: unused blocks and the old end-of-file mark
_PADDING = b"\x00\x1a"


@dataclass(frozen=True, eq=False)
class Text:
    """A run file's bytes with one byte for a line feed, and the encoding they are in.

    Attributes
    ----------
    data : bytes
    start, end : int
        Where the text begins, after a byte-order mark, and ends, before padding.
    encoding : str
        Of ``data``; always one that has ASCII as it is.
    original_encoding : str
        Of the file.
    """

    data: bytes
    start: int
    end: int
    encoding: str
    original_encoding: str

    def decode(self, start: int, end: int) -> str:
        return self.data[start:end].decode(self.encoding, "replace")

    def offset_of_line(self, line: int) -> int:
        """Where a line begins, counted from 1; the end of the text if there are fewer."""
        offset = self.start
        for _ in range(line - 1):
            found = self.data.find(b"\n", offset, self.end)
            if found < 0:
                return self.end
            offset = found + 1
        return offset

    def count_lines(self, start: int, end: int) -> int:
        """Lines from one offset to another, a last one without a line feed included."""
        if start >= end:
            return 0
        return self.data.count(b"\n", start, end) + (self.data[end - 1] != 0x0A)

    def head(self) -> list[str]:
        """The first lines, whole ones, without their line ends."""
        end = min(self.end, self.start + HEAD_BYTES)
        lines = self.decode(self.start, end).split("\n")
        if (end < self.end and len(lines) > 1) or (lines and not lines[-1]):
            lines.pop()
        return [line.rstrip("\r") for line in lines]

    def samples(self, places: int = 4, size: int = 2 * 1024) -> Iterator[list[str]]:
        """Whole lines from further down, for what the head does not show; none in a short file."""
        rest = self.end - self.start - HEAD_BYTES
        for place in range(places if rest > places * size else 0):
            begin = self.start + HEAD_BYTES + rest * place // places
            yield [line.rstrip("\r") for line in self.decode(begin, begin + size).split("\n")[1:-1]]


def open_text(data: bytes, encoding: str | None = None) -> Text:
    """Refuse what is no run file; find the encoding, or use the one given.

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
        raise RunFileError(f"The file has {size:.0f} MB; at most {MAX_BYTES // 1024 // 1024} MB are read.")
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
    text = Text(data, start, _end_of_text(data), text_encoding, chosen)
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
        # A sign cut in two by the end of the head is no evidence against UTF-8.
        if len(data) <= HEAD_BYTES or error.start < len(head) - 4:
            return "cp1252"
    return "utf-8"


def _wide_encoding(head: bytes) -> str | None:
    """UTF-16 without a mark: figures and plain letters have every other byte zero."""
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
    """Refuse binary data: text holds no control signs but a few."""
    controls = len(head) - len(head.translate(None, _CONTROLS))
    if controls and controls > len(head) // 1000:
        raise RunFileError(
            "This is no text: the file holds binary data. Export the run as CSV or text and send that."
        )


def _one_line_feed(data: bytes) -> bytes:
    """Line ends of old systems, and doubled ones of a transfer gone wrong, as one line feed each."""
    head = data[:HEAD_BYTES]
    if b"\r\r\n" in head:
        data = data.replace(b"\r\r\n", b"\n")
    if b"\r" in head and b"\n" not in head:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return data


def _end_of_text(data: bytes) -> int:
    end = len(data)
    while end and data[end - 1] in _PADDING:
        end -= 1
    return end
