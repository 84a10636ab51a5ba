"""Addresses of checklists."""

from django.urls import path

from jobs.checklists import views

urlpatterns = [
    path("jobs/<str:number>/checks/", views.checks, name="checks"),
    path("jobs/<str:number>/checks/<int:pk>/tick/", views.check_tick, name="check-tick"),
    path("jobs/<str:number>/checks/<int:pk>/answer/", views.check_answer, name="check-answer"),
    path("checks/<int:pk>/remove/", views.check_remove, name="check-remove"),
    path("jobs/<str:number>/dyno-sessions/new/", views.dyno_session_new, name="dyno-session-new"),
    path("dyno-sessions/<int:pk>/edit/", views.dyno_session_edit, name="dyno-session-edit"),
    path("dyno-sessions/<int:pk>/remove/", views.dyno_session_remove, name="dyno-session-remove"),
    path("shop/checks/", views.check_item_list, name="check-item-list"),
    path("shop/checks/<int:pk>/edit/", views.check_item_edit, name="check-item-edit"),
]
