"""Addresses of the documents that are not issued."""

from django.urls import path

from reports.documents import views

urlpatterns = [
    path("jobs/<str:number>/tag/", views.job_tag, name="job-tag"),
    path("jobs/<str:number>/tune-summary/", views.tune_summary, name="tune-summary"),
    path("jobs/<str:number>/records.json", views.job_json, name="job-json"),
    path("jobs/<str:number>/records.zip", views.job_zip, name="job-zip"),
    path("bikes/<int:pk>/history/", views.bike_history, name="bike-history"),
]
