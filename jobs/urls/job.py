from django.urls import path

from jobs.views import job as views

urlpatterns = [
    path("jobs/<str:number>/", views.job, name="job"),
    path("jobs/<str:number>/stage/", views.job_stage, name="job-stage"),
]
