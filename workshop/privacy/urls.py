"""Addresses of a person's data: merge, export, erase."""

from django.urls import path

from workshop.privacy import views

urlpatterns = [
    path("customers/<int:pk>/merge/", views.customer_merge, name="customer-merge"),
    path("customers/<int:pk>/export/", views.customer_export, name="customer-export"),
    path("customers/<int:pk>/erase/", views.customer_erase, name="customer-erase"),
]
