"""Addresses: what the paint says at the marks."""

from django.urls import path

from guides.paint import views

urlpatterns = [
    path("marks/<int:pk>/paint", views.mark_paint, name="mark-paint"),
    path("guides/<int:pk>/paint", views.place_paint, name="place-paint"),
    path("issues/<int:pk>/paint", views.issue_paint, name="issue-paint"),
    path("issues/<int:pk>/paint/read", views.read_issue, name="read-issue-paint"),
    path("paint/", views.series_paint, name="series-paint"),
]
