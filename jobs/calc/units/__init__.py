"""Units: factors, numbers as text, lengths and identities between quantities."""
