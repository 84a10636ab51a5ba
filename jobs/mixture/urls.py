"""URLs of mixture studies."""

from django.urls import path

from jobs.mixture import views as mixture

urlpatterns = [
    path("jobs/<str:number>/mixture/new/", mixture.mixture_new, name="mixture-new"),
    path("mixture/<int:pk>/", mixture.mixture, name="mixture"),
    path("mixture/<int:pk>/edit/", mixture.mixture_edit, name="mixture-edit"),
    path("mixture/<int:pk>/remove/", mixture.mixture_remove, name="mixture-remove"),
    path("mixture/<int:pk>/fuel-table.csv", mixture.fuel_table_csv, name="mixture-fuel-table"),
]
