"""The QR code on a job tag, read from the printed page by ISO/IEC 18004:2015, but for error correction.

Numbers of clauses and tables are from memory.
"""

import numpy as np
import pypdfium2
import pytest

from reports.documents.job_tag import job_tag_pdf
from tests import factories
from workshop.models import ShopProfile

pytestmark = pytest.mark.django_db

FORMAT_MASK, FORMAT_GENERATOR = 0b101010000010010, 0b10100110111  # 7.9.1 and annex C
QUIET = 4  # modules left white on each side: 6.3.8
# Version and level (00 is M, 11 is Q): how many blocks of how many data codewords: table 9.
BLOCKS = {(3, 0b00): (1, 44), (3, 0b11): (2, 17), (4, 0b00): (2, 32), (4, 0b11): (2, 24), (5, 0b00): (2, 43)}
MASKS = (  # table 10: a module of row i and column j is turned over where this is nought
    lambda i, j: (i + j) % 2,
    lambda i, j: i % 2,
    lambda i, j: j % 3,
    lambda i, j: (i + j) % 3,
    lambda i, j: (i // 2 + j // 3) % 2,
    lambda i, j: i * j % 2 + i * j % 3,
    lambda i, j: (i * j % 2 + i * j % 3) % 2,
    lambda i, j: ((i + j) % 2 + i * j % 3) % 2,
)


def finder_rows(dark: np.ndarray) -> list[tuple[float, int, float]]:
    """Where dark and light take turns as 1:1:3:1:1 in a row: the middle's x, the row and a module's width."""
    found = []
    for y, row in enumerate(dark):
        edges = np.flatnonzero(np.diff(row.astype(int))) + 1
        for start in range(len(edges) - 5):
            at = edges[start : start + 6]
            module = (at[5] - at[0]) / 7
            if row[at[0]] and np.abs(np.diff(at) - module * np.array([1, 1, 3, 1, 1])).max() < module / 3:
                found.append(((at[0] + at[5]) / 2, y, module))
    return found


def symbol(page: pypdfium2.PdfPage) -> tuple[np.ndarray, bool]:
    """Return the dark modules of the symbol on a page, and True if its quiet zone is white."""
    dark = page.render(scale=6, grayscale=True).to_numpy().squeeze() < 128
    across = finder_rows(dark)
    down = [(x, y) for y, x, _ in finder_rows(dark.T)]  # letters look so in one direction only
    centres = [(x, y, size) for x, y, size in across if any(abs(x - a) + abs(y - b) < 2 for a, b in down)]
    left, right = min(x for x, _, _ in centres), max(x for x, _, _ in centres)
    top, low = min(y for _, y, _ in centres), max(y for _, y, _ in centres)
    module = float(np.median([size for *_, size in centres]))
    side = round((right - left) / module) + 7
    assert side % 4 == 1 and low - top == pytest.approx(right - left, abs=module / 2)
    step = (right - left) / (side - 7)
    at = (np.arange(side) - 3) * step
    rows, columns = np.round(top + at).astype(int), np.round(left + at).astype(int)
    near, far = round(step / 2) + 1, round((QUIET + 0.5) * step)
    around = dark[rows[0] - far : rows[-1] + far, columns[0] - far : columns[-1] + far].sum()
    inside = dark[rows[0] - near : rows[-1] + near, columns[0] - near : columns[-1] + near].sum()
    return dark[rows[:, None], columns], around == inside


def of_bits(bits: list[bool]) -> int:
    return int("".join(str(int(bit)) for bit in bits), 2)


def data_bits(modules: np.ndarray, mask: int) -> list[bool]:
    """In columns of two from the right, up and down in turns, around what is no data: 7.7.3."""
    side = len(modules)
    taken = np.zeros_like(modules)
    taken[:9, :9] = taken[:9, -8:] = taken[-8:, :9] = taken[6] = taken[:, 6] = True
    taken[side - 9 : side - 4, side - 9 : side - 4] = True  # the alignment pattern of versions 2 to 6
    columns = [*range(side - 1, 6, -2), 5, 3, 1]
    rows = [range(side), range(side)[::-1]]
    places = [(i, c) for n, j in enumerate(columns) for i in rows[1 - n % 2] for c in (j, j - 1)]
    return [bool(modules[i, j]) ^ (MASKS[mask](i, j) == 0) for i, j in places if not taken[i, j]]


def read(modules: np.ndarray) -> str:
    """Decode the text of a symbol in byte mode."""
    row, column = modules[8], modules[:, 8]
    form = of_bits([*row[:6], row[7], row[8], column[7], *column[5::-1]]) ^ FORMAT_MASK
    left_over = form
    for shift in range(4, -1, -1):
        left_over ^= (FORMAT_GENERATOR << shift) if left_over >> (shift + 10) & 1 else 0
    assert left_over == 0, "the format information is no word of its code"
    blocks, length = BLOCKS[(len(modules) - 17) // 4, form >> 13]
    bits = data_bits(modules, form >> 10 & 0b111)
    words = [of_bits(bits[8 * at : 8 * at + 8]) for at in range(blocks * length)]
    stream = "".join(f"{word:08b}" for block in range(blocks) for word in words[block::blocks])
    assert stream[:4] == "0100"  # bytes: table 2
    count = int(stream[4:12], 2)
    return bytes(int(stream[at : at + 8], 2) for at in range(12, 12 + 8 * count, 8)).decode("ascii")


@pytest.mark.parametrize("host", ["shop.example", "record.lash-and-lambda.example:8443"])
def test_qr_code_of_tag_decodes_to_job_address(host: str) -> None:
    job = factories.make_job()
    address = f"https://{host}/jobs/{job.number}/"
    with pypdfium2.PdfDocument(job_tag_pdf(job, address, ShopProfile.current())) as pdf:
        modules, stands_free = symbol(pdf[0])
    assert read(modules) == address
    assert stands_free
