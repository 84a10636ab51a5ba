"""URLs of the shop's profile."""

from django.urls import path

from workshop.shop import views

urlpatterns = [
    path("shop/", views.shop_profile, name="shop-profile"),
    path("shop/standards/", views.correction_standards, name="correction-standards"),
    path("shop/logo/", views.shop_logo, name="shop-logo"),
]
