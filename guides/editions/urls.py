"""Addresses: what a printing after the first needs otherwise."""

from django.urls import path

from guides.editions import views

urlpatterns = [path("editions/<int:pk>/", views.edition, name="edition")]
