from django.urls import path

from workshop.views import bikes, customers

urlpatterns = [
    path("customers/", customers.customer_list, name="customer-list"),
    path("customers/new/", customers.customer_new, name="customer-new"),
    path("customers/<int:pk>/", customers.customer, name="customer"),
    path("customers/<int:pk>/edit/", customers.customer_edit, name="customer-edit"),
    path("bikes/new/", bikes.bike_new, name="bike-new"),
    path("bikes/<int:pk>/edit/", bikes.bike_edit, name="bike-edit"),
]
