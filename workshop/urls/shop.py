from django.urls import path

from workshop.views import backup, happenings
from workshop.views import shop as views

urlpatterns = [
    path("shop/", views.shop_profile, name="shop-profile"),
    path("shop/logo/", views.shop_logo, name="shop-logo"),
    path("shop/history/", happenings.shop_history, name="shop-history"),
    path("history/<str:kind>/<int:pk>/", happenings.record_history, name="record-history"),
    path("shop/backup/", backup.backup, name="backup"),
    path("shop/backup/take/", backup.backup_take, name="backup-take"),
]
