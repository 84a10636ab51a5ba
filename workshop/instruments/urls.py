"""URLs of the shop's instruments and their checks."""

from django.urls import path

from workshop.instruments import views

urlpatterns = [
    path("instruments/", views.instrument_list, name="instrument-list"),
    path("instruments/new/", views.instrument_new, name="instrument-new"),
    path("instruments/<int:pk>/", views.instrument, name="instrument"),
    path("instruments/<int:pk>/edit/", views.instrument_edit, name="instrument-edit"),
    path("instruments/<int:pk>/remove/", views.instrument_remove, name="instrument-remove"),
    path("instruments/<int:pk>/checks/new/", views.instrument_check_new, name="instrument-check-new"),
    path("instrument-checks/<int:pk>/edit/", views.instrument_check_edit, name="instrument-check-edit"),
    path("instrument-checks/<int:pk>/remove/", views.instrument_check_remove, name="instrument-check-remove"),
]
