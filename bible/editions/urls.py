"""Addresses: printings after the first."""

from django.urls import path

from bible.editions import views

urlpatterns = [
    path("editions/", views.editions, name="editions"),
    path("editions/new", views.new_edition, name="new-edition"),
    path("editions/<int:pk>/edit", views.edit_edition, name="edit-edition"),
    path("editions/<int:pk>/archive", views.put_away, name="archive-edition"),
]
