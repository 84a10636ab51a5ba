"""Addresses of the dyno's verification."""

from django.urls import path

from jobs.verification import views

urlpatterns = [
    path("dyno-checks/", views.dyno_check_list, name="dyno-check-list"),
    path("dyno-checks.csv", views.dyno_check_csv, name="dyno-check-csv"),
    path("dyno-checks/<int:pk>/edit/", views.dyno_check_edit, name="dyno-check-edit"),
    path("dyno-checks/<int:pk>/remove/", views.dyno_check_remove, name="dyno-check-remove"),
]
