"""Addresses: the page of every component."""

from django.urls import path

from guides.gallery import views

urlpatterns = [
    path("", views.look, name="look"),
]
