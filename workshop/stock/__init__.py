"""Stock of shims."""
