"""Run files: bytes in, named channels in SI units out.

:func:`sniff` suggests a layout from the first lines; :func:`preview` shows what is read with it, so that a
person can correct it; :func:`read` reads the whole file. A confirmed layout is stored under its fingerprint,
and :func:`apply_known_layout` fits it to the next file of its kind.

Other packages import from here; the tests are in ``tests/calc/run_file``.
"""

from jobs.calc.run_file.clock import find_stated_time
from jobs.calc.run_file.doubts import with_typical_values
from jobs.calc.run_file.guess import ColumnView, Guess, Preview, RunFile
from jobs.calc.run_file.known_layout import apply_known_layout
from jobs.calc.run_file.layout import (
    DECIMALS,
    DELIMITERS,
    ENCODINGS,
    THOUSANDS,
    TIME_FORMS,
    Column,
    FileLayoutSpec,
    RunFileError,
    get_unit_label,
)
from jobs.calc.run_file.pulls import PullRange, find_file_pulls, list_pulls, take_pull
from jobs.calc.run_file.reader import preview, read, sniff
from jobs.calc.run_file.stated_correction import StatedCorrection
from jobs.calc.run_file.structure import StructureOverrides
from jobs.calc.run_file.text import open_text

__all__ = [
    "DECIMALS",
    "DELIMITERS",
    "ENCODINGS",
    "THOUSANDS",
    "TIME_FORMS",
    "Column",
    "ColumnView",
    "FileLayoutSpec",
    "Guess",
    "Preview",
    "PullRange",
    "RunFile",
    "RunFileError",
    "StatedCorrection",
    "StructureOverrides",
    "apply_known_layout",
    "find_file_pulls",
    "find_stated_time",
    "get_unit_label",
    "list_pulls",
    "open_text",
    "preview",
    "read",
    "sniff",
    "take_pull",
    "with_typical_values",
]
