"""Addresses of the day's overview, the list of jobs and the worker that opens pages offline."""

from django.urls import path

from jobs.today import views

urlpatterns = [
    path("", views.today, name="today"),
    path("jobs/", views.job_list, name="job-list"),
    path("jobs.csv", views.job_list_csv, name="job-list-csv"),
    path("worker.js", views.site_worker, name="site-worker"),
]
