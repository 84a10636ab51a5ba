from django.urls import path

from workshop.styleguide import views

urlpatterns = [path("styleguide/", views.styleguide, name="styleguide")]
