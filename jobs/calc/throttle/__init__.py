"""Throttle tables, closed throttle and drift at a steady grip."""
