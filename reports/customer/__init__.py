"""The customer's page, its links and mail."""
