"""The health check for monitoring."""
