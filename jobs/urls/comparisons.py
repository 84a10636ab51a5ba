"""Addresses of comparisons."""

from django.urls import path

from jobs.views import comparisons

urlpatterns = [
    path("jobs/<str:number>/comparisons/new/", comparisons.comparison_new, name="comparison-new"),
    path("comparisons/<int:pk>/", comparisons.comparison, name="comparison"),
    path("comparisons/<int:pk>/edit/", comparisons.comparison_edit, name="comparison-edit"),
    path("comparisons/<int:pk>/remove/", comparisons.comparison_remove, name="comparison-remove"),
    path("comparisons/<int:pk>.csv", comparisons.comparison_csv, name="comparison-csv"),
]
