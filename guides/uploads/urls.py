"""Addresses: bringing pages in, and marks that come along to a new scan."""

from django.urls import path

from guides.uploads import carry_views, views

urlpatterns = [
    path("issues/<int:issue_pk>/upload", views.upload, name="upload"),
    path("issues/<int:issue_pk>/upload/list", views.foreseen, name="foresee-arrivals"),
    path("issues/<int:issue_pk>/arrivals", views.begin, name="begin-arrival"),
    path("arrivals/<int:pk>/", views.arrival, name="arrival"),
    path("arrivals/<int:pk>/cancel", views.cancel_arrival, name="cancel-arrival"),
    path("guides/<int:pk>/carry", carry_views.carry, name="carry"),
    path("carries/<int:pk>/undo", carry_views.undo, name="undo-carry"),
]
