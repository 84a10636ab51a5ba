"""Addresses of the customer's page and its links."""

from django.urls import path

from reports.customer import views

urlpatterns = [
    path("sheets/<int:pk>/links/", views.link_new, name="link-new"),
    path("sheets/<int:pk>/mail/", views.sheet_mail, name="sheet-mail"),
    path("links/<int:pk>/revoke/", views.link_revoke, name="link-revoke"),
    path("links/<int:pk>/talk-through/", views.link_talk_through, name="link-talk-through"),
    path("check/<str:code>/", views.sheet_check, name="sheet-check"),
    path("sheet/<str:token>/", views.customer_sheet, name="customer-sheet"),
    path("sheet/<str:token>/pdf/", views.customer_pdf, name="customer-pdf"),
    path("sheet/<str:token>/ask/", views.customer_ask, name="customer-ask"),
    path("sheet/<str:token>/acknowledge/", views.customer_acknowledge, name="customer-acknowledge"),
]
