"""Addresses: work in the background, how far it is, and stopping it."""

from django.urls import path

from bible.tasks import views

urlpatterns = [
    path("work/", views.work, name="work"),
    path("work/<int:pk>/", views.job, name="job"),
    path("work/<int:pk>/stop", views.stop_job, name="stop-job"),
]
