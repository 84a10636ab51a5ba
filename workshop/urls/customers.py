from django.urls import path

from workshop.views import bikes, customers, personal

urlpatterns = [
    path("customers/", customers.customer_list, name="customer-list"),
    path("customers/new/", customers.customer_new, name="customer-new"),
    path("customers/<int:pk>/", customers.customer, name="customer"),
    path("customers/<int:pk>/edit/", customers.customer_edit, name="customer-edit"),
    path("customers/<int:pk>/merge/", personal.customer_merge, name="customer-merge"),
    path("customers/<int:pk>/export/", personal.customer_export, name="customer-export"),
    path("customers/<int:pk>/erase/", personal.customer_erase, name="customer-erase"),
    path("bikes/new/", bikes.bike_new, name="bike-new"),
    path("bikes/<int:pk>/edit/", bikes.bike_edit, name="bike-edit"),
]
