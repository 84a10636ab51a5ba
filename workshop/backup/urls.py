"""URLs of the backup."""

from django.urls import path

from workshop.backup import views

urlpatterns = [
    path("shop/backup/", views.backup, name="backup"),
    path("shop/backup/take/", views.backup_take, name="backup-take"),
]
