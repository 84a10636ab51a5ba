from django.urls import path

from workshop.stock import views

urlpatterns = [
    path("stock.csv", views.shim_stock_csv, name="shim-stock-csv"),
    path("stock/", views.shim_stock, name="shim-stock"),
    path("stock/add/", views.shim_stock_add, name="shim-stock-add"),
    path("stock/<int:pk>/edit/", views.shim_stock_edit, name="shim-stock-edit"),
]
