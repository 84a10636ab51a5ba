"""Addresses of the talk-through."""

from django.urls import path

from reports.talk_through import views

urlpatterns = [
    path("jobs/<str:number>/talk-through/", views.talk_through, name="talk-through"),
    path("jobs/<str:number>/talk-through/steps/", views.talk_through_steps, name="talk-through-steps"),
    path("jobs/<str:number>/talk-through/pdf/", views.talk_through_pdf, name="talk-through-pdf"),
    path(
        "jobs/<str:number>/talk-through/pictures/", views.talk_through_pictures, name="talk-through-pictures"
    ),
    path("jobs/<str:number>/talk-through/publish/", views.talk_through_publish, name="talk-through-publish"),
    path("publications/<int:pk>/revoke/", views.publication_revoke, name="publication-revoke"),
    path("sheet/<str:token>/talk-through/", views.customer_talk_through, name="customer-talk-through"),
    path("talk-through/<str:token>/", views.published_talk_through, name="published-talk-through"),
]
