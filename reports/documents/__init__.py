"""Papers beside the handover sheet: job tag, tune summary, a bike's history, and a whole job as data.

None is issued: each says what the records hold at the moment it is asked for, and the same records give
the same bytes but for the moment printed on it.
"""
