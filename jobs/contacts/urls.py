"""Addresses of contact entries."""

from django.urls import path

from jobs.contacts import views

urlpatterns = [
    path("jobs/<str:number>/contacts/add/", views.contact_add, name="contact-add"),
    path("contacts/<int:pk>/edit/", views.contact_edit, name="contact-edit"),
    path("contacts/<int:pk>/remove/", views.contact_remove, name="contact-remove"),
]
