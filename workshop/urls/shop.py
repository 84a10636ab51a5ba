from django.urls import path

from workshop.views import backup
from workshop.views import shop as views

urlpatterns = [
    path("shop/", views.shop_profile, name="shop-profile"),
    path("shop/logo/", views.shop_logo, name="shop-logo"),
    path("shop/backup/", backup.backup, name="backup"),
    path("shop/backup/take/", backup.backup_take, name="backup-take"),
]
