"""Snapshots to and from JSON: the facts of the records lie beside those of the sheet itself."""

import hashlib
import json
from typing import Any

from jobs.job import facts_codec
from jobs.job.registry import printed_records
from reports.handover.snapshot.schema import Snapshot

SNAPSHOTS = {1: Snapshot}  # by format number; every format ever stored stays here


def to_json(snapshot: Snapshot) -> dict[str, Any]:
    """Return the snapshot as it is stored."""
    stored: dict[str, Any] = facts_codec.to_json(snapshot)
    return stored | stored.pop("records")


def from_json(stored: dict[str, Any]) -> Snapshot:
    """Return a stored snapshot; keys without a field are ignored.

    Raises
    ------
    KeyError
        The format is none of ``SNAPSHOTS``.
    """
    records = {
        printed.name: facts_codec.from_json(stored[printed.name], printed.kind)
        for printed in printed_records()
        if printed.name in stored
    }
    return facts_codec.from_json({**stored, "records": records}, SNAPSHOTS[stored["format"]])


def canonical(stored: dict[str, Any]) -> str:
    """Return the same text for the same snapshot, in whatever order a database stores its keys."""
    return json.dumps(stored, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def snapshot_sha256(stored: dict[str, Any]) -> str:
    return hashlib.sha256(canonical(stored).encode()).hexdigest()
