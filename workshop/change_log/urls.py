"""URLs of the change log."""

from django.urls import path

from workshop.change_log import views

urlpatterns = [
    path("shop/history/", views.shop_history, name="shop-history"),
    path("history/<str:kind>/<int:pk>/", views.record_history, name="record-history"),
]
