"""Addresses: health, help, and what somebody prefers."""

from django.urls import path

from bible.web import health, views
from bible.web.preferences import PAPER_SIZE, THEME

urlpatterns = [
    path("healthz/live", health.live, name="health-live"),
    path("healthz/ready", health.ready, name="health-ready"),
    path("help/", views.help_index, name="help"),
    path("help/keys/", views.help_keys, name="help-keys"),
    path("help/<slug:topic>/", views.help_page, name="help-page"),
    path("theme/", views.choose, {"preference": THEME}, name="theme"),
    path("paper/", views.choose, {"preference": PAPER_SIZE}, name="paper"),
]
