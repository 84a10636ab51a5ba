"""Units: factors, numbers as text, lengths as text, and identities between quantities."""
