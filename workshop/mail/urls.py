"""Addresses of mails and of their set-up."""

from django.urls import path

from workshop.mail import views

urlpatterns = [
    path("mails/", views.mail_list, name="mail-list"),
    path("mails/<int:pk>/", views.mail_state, name="mail-state"),
    path("mails/<int:pk>/retry/", views.mail_retry, name="mail-retry"),
    path("mails/<int:pk>/returned/", views.mail_returned, name="mail-returned"),
    path("mails/<int:pk>/settle/", views.mail_settle, name="mail-settle"),
    path("shop/mail/", views.mail_setup, name="mail-setup"),
]
