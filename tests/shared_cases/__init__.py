"""Cases in which the server and the scripts must agree."""

import json
from pathlib import Path
from typing import Any


def shared_cases(name: str) -> Any:
    return json.loads((Path(__file__).parent / f"{name}.json").read_text(encoding="utf-8"))
