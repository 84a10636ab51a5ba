"""Documents beside the handover sheet: job tag, tune summary, bike history, job export.

They are not issued: they show the records as they are when requested. The same records give the same bytes,
except for the time printed.
"""
