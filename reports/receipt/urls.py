"""Addresses of the signed receipts."""

from django.urls import path

from reports.receipt import views

urlpatterns = [
    path("receipts/<int:pk>/pdf/", views.receipt_pdf, name="receipt-pdf"),
    path("receipts/<int:pk>/print/", views.receipt_print, name="receipt-print"),
    path("receipts/<int:pk>/mail/", views.receipt_mail, name="receipt-mail"),
]
