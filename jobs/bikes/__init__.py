"""A bike with all its jobs.

Model: workshop.models.customers.Bike. Templates: templates/jobs/bikes. Tests: tests/jobs/bikes.
"""
