from django.urls import path

from jobs.wishes import views

urlpatterns = [
    path("jobs/<str:number>/wishes/add/", views.wish_add, name="wish-add"),
    path("wishes/<int:pk>/edit/", views.wish_edit, name="wish-edit"),
    path("wishes/<int:pk>/remove/", views.wish_remove, name="wish-remove"),
]
