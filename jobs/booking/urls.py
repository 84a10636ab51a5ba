"""Addresses of booking a job."""

from django.urls import path

from jobs.booking import views

urlpatterns = [
    path("jobs/book/", views.job_book, name="job-book"),
    path("jobs/book/bikes/", views.bike_choices, name="bike-choices"),
    path("jobs/book/customers/", views.customer_choices, name="customer-choices"),
]
