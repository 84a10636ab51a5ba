"""Addresses of runs and of the file layouts they are read by."""

from django.urls import path

from jobs.views import layouts, repeatability
from jobs.views import runs as views

urlpatterns = [
    path("jobs/<str:number>/runs/", views.runs, name="runs"),
    path("jobs/<str:number>/runs/attach/", views.run_attach, name="run-attach"),
    path("jobs/<str:number>/runs.csv", views.runs_csv, name="runs-csv"),
    path("runs/<int:pk>/", views.run, name="run"),
    path("runs/<int:pk>/layout/", layouts.run_layout, name="run-layout"),
    path("runs/<int:pk>/edit/", views.run_edit, name="run-edit"),
    path("runs/<int:pk>/sweep/", views.run_sweep, name="run-sweep"),
    path("runs/<int:pk>/set-aside/", views.run_set_aside, name="run-set-aside"),
    path("runs/<int:pk>/put-back/", views.run_put_back, name="run-put-back"),
    path("runs/<int:pk>/file/", views.run_file, name="run-file"),
    path("runs/<int:pk>/remove/", views.run_remove, name="run-remove"),
    path("repeatability/", repeatability.repeatability, name="repeatability"),
    path("repeatability/use/", repeatability.repeatability_use, name="repeatability-use"),
    path("layouts/", layouts.layout_list, name="layout-list"),
    path("layouts/<int:pk>/edit/", layouts.layout_edit, name="layout-edit"),
    path("layouts/<int:pk>/remove/", layouts.layout_remove, name="layout-remove"),
]
