"""Addresses of the job page."""

from django.urls import path

from jobs.job_page import views

urlpatterns = [
    path("jobs/<str:number>/", views.job, name="job"),
    path("jobs/<str:number>/edit/", views.job_edit, name="job-edit"),
    path("jobs/<str:number>/remarks/", views.job_remarks, name="job-remarks"),
    path("jobs/<str:number>/sections/<str:key>/", views.job_section, name="job-section"),
    path("jobs/<str:number>/stage/", views.job_stage, name="job-stage"),
]
