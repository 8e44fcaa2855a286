"""Addresses: a subject's years as a picture."""

from django.urls import path

from guides.timeline import views

urlpatterns = [
    path("bible/<int:pk>/timeline", views.subject_timeline, name="timeline"),
]
