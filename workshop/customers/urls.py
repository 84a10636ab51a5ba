"""URLs of customers and their bikes."""

from django.urls import path

from workshop.customers import bike_views, views

urlpatterns = [
    path("customers/", views.customer_list, name="customer-list"),
    path("customers/new/", views.customer_new, name="customer-new"),
    path("customers/<int:pk>/", views.customer, name="customer"),
    path("customers/<int:pk>/edit/", views.customer_edit, name="customer-edit"),
    path("bikes/new/", bike_views.bike_new, name="bike-new"),
    path("bikes/<int:pk>/edit/", bike_views.bike_edit, name="bike-edit"),
]
