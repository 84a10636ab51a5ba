"""URLs of comparisons and of repeatability."""

from django.urls import path

from jobs.comparisons import repeatability_views, views

urlpatterns = [
    path("jobs/<str:number>/comparisons/new/", views.comparison_new, name="comparison-new"),
    path("comparisons/<int:pk>/", views.comparison, name="comparison"),
    path("comparisons/<int:pk>/edit/", views.comparison_edit, name="comparison-edit"),
    path("comparisons/<int:pk>/remove/", views.comparison_remove, name="comparison-remove"),
    path("comparisons/<int:pk>.csv", views.comparison_csv, name="comparison-csv"),
    path("runs/<int:pk>/uncertainty/", views.run_uncertainty, name="run-uncertainty"),
    path("repeatability/", repeatability_views.repeatability, name="repeatability"),
    path("repeatability/use/", repeatability_views.repeatability_use, name="repeatability-use"),
]
