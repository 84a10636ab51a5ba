"""Staff, their roles and logins."""
