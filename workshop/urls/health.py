from django.urls import path

from workshop.views import health as views

urlpatterns = [path("health/", views.health, name="health")]
