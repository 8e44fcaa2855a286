"""Addresses: how one wants word, and which programs are told."""

from django.urls import path

from bible.notices import views

urlpatterns = [
    path("webhooks/", views.webhooks, name="webhooks"),
    path("webhooks/<int:pk>/new-secret", views.new_secret, name="new-secret"),
    path("webhooks/<int:pk>/try", views.try_webhook, name="try-webhook"),
    path("webhooks/<int:pk>/remove", views.remove_webhook, name="remove-webhook"),
]

outside_series = [
    path("notices/", views.notices, name="notices"),
    path("notices/confirm/<str:token>/", views.confirm_address, name="confirm-address"),
]
