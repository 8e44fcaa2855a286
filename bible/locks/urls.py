"""Addresses: looking codes up, what changed, and notes. Deciding is where marks are seen: `guides.decisions`."""

from django.urls import path

from bible.locks import views

urlpatterns = [
    path("parts/", views.part_options, name="part-options"),
    path("locks/<int:pk>/note", views.note_lock, name="note-lock"),
    path("locks/changes", views.changes, name="lock-changes"),
    path("locks/look", views.code_look, name="code-look"),
    path("look-up/", views.lookup, name="lookup"),
]
