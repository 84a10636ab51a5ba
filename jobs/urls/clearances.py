"""Addresses of clearance sets."""

from django.urls import path

from jobs.views import clearances

urlpatterns = [
    path("jobs/<str:number>/clearances/new/<str:when>/", clearances.clearances_new, name="clearances-new"),
    path("bench-worker.js", clearances.bench_worker, name="bench-worker"),
    path("clearances/<int:pk>/", clearances.clearances, name="clearances"),
    path("clearances/<int:pk>/edit/", clearances.clearances_edit, name="clearances-edit"),
]
