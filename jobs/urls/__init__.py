"""Addresses of jobs and their records, one module a record."""

from jobs.urls import (
    bikes,
    checks,
    clearances,
    comparisons,
    job,
    mixture,
    parts,
    runs,
    shims,
    shop_days,
    slots,
    suspension,
    throttle,
    today,
    tunes,
)

RECORDS = (
    today,
    slots,
    shop_days,
    job,
    bikes,
    clearances,
    shims,
    parts,
    tunes,
    throttle,
    runs,
    comparisons,
    mixture,
    suspension,
    checks,
)
urlpatterns = [pattern for record in RECORDS for pattern in record.urlpatterns]
