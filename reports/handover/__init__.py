"""The handover sheet: blockers, snapshot, pages, issuing."""
