"""URLs of runs and file layouts."""

from django.urls import path

from jobs.runs import attach_views, change_views, layout_views, views

urlpatterns = [
    path("jobs/<str:number>/runs/attach/", attach_views.run_attach, name="run-attach"),
    path("jobs/<str:number>/runs/", views.runs, name="runs"),
    path("jobs/<str:number>/runs/change/", change_views.runs_change, name="runs-change"),
    path("jobs/<str:number>/runs.csv", views.runs_csv, name="runs-csv"),
    path("runs/<int:pk>/", views.run, name="run"),
    path("runs/<int:pk>/edit/", views.run_edit, name="run-edit"),
    path("runs/<int:pk>/sweep/", views.run_sweep, name="run-sweep"),
    path("runs/<int:pk>/set-aside/", views.run_exclude, name="run-set-aside"),
    path("runs/<int:pk>/put-back/", views.run_include, name="run-put-back"),
    path("runs/<int:pk>/file/", views.run_file, name="run-file"),
    path("runs/<int:pk>/samples.csv", views.run_csv, name="run-csv"),
    path("runs/<int:pk>/remove/", views.run_remove, name="run-remove"),
    path("runs/<int:pk>/layout/", layout_views.run_layout, name="run-layout"),
    path("layouts/", layout_views.layout_list, name="layout-list"),
    path("layouts/<int:pk>/edit/", layout_views.layout_edit, name="layout-edit"),
    path("layouts/<int:pk>/remove/", layout_views.layout_remove, name="layout-remove"),
]
