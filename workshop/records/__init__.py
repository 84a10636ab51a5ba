"""Shared parts of all records: form, edit conflict, idempotent submission, responses."""
