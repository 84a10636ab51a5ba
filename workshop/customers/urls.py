"""URLs of customers."""

from django.urls import path

from workshop.customers import views

urlpatterns = [
    path("customers/", views.customer_list, name="customer-list"),
    path("customers.csv", views.customer_list_csv, name="customer-list-csv"),
    path("customers/new/", views.customer_new, name="customer-new"),
    path("customers/known/", views.known_entries, name="known-entries"),
    path("customers/<int:pk>/", views.customer, name="customer"),
    path("customers/<int:pk>/edit/", views.customer_edit, name="customer-edit"),
]
