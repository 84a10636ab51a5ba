"""Addresses of jobs and their records, one module a record."""

from importlib import import_module

from jobs.records import PACKAGES

urlpatterns = [
    pattern
    for package in PACKAGES
    if package != "job"
    for pattern in import_module(f"jobs.{package}.urls").urlpatterns
]
