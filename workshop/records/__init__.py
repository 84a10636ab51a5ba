"""What every record shares: form, edit conflict, idempotent submission, responses."""
