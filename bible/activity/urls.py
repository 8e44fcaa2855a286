"""Addresses: what was done in a series, by whom and when."""

from django.urls import path

from bible.activity import views

urlpatterns = [
    path("activity/", views.activity, name="activity"),
    path("people/<int:pk>/", views.person, name="person"),
]
