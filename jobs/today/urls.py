"""Addresses of the day's overview."""

from django.urls import path

from jobs.today import views

urlpatterns = [
    path("", views.today, name="today"),
    path("jobs/", views.job_list, name="job-list"),
]
