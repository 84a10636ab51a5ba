"""The arithmetic of the trade, without Django, files or clock: see README.md beside this file."""
