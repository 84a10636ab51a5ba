from django.urls import path

from workshop.health import views

urlpatterns = [path("health/", views.health, name="health")]
