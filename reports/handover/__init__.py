"""The handover sheet: what blocks it, its snapshot, its pages, issuing."""
