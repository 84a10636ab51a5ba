"""Addresses of what follows a handover."""

from django.urls import path

from jobs.handing_over import views

urlpatterns = [
    path("jobs/<str:number>/slots/cancel/", views.slots_cancel, name="slots-cancel"),
]
