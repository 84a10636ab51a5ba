"""What the log never shows: secret addresses, and the contents of rows."""

import logging
import re

MIN_SECRET_LENGTH = 40  # characters; a token of 32 bytes has 43
SECRET = re.compile(rf"(?<=/)[\w-]{{{MIN_SECRET_LENGTH},}}")
# PostgreSQL adds the values of a refused row to its errors.
ROW = re.compile(r"^DETAIL:.*$", re.MULTILINE)


class DiscreetFormatter(logging.Formatter):
    """Formats a line, with its traceback, without the secret of a link and without stored values."""

    def format(self, record: logging.LogRecord) -> str:
        return ROW.sub("DETAIL: not logged", SECRET.sub("…", super().format(record)))
