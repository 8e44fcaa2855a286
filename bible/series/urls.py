"""Addresses: a series, its issues and their running order, its press conditions."""

from django.urls import path

from bible.series import role_views, views

urlpatterns = [
    path("issues/<int:pk>/edit", views.edit_issue, name="edit-issue"),
    path("settings/", views.series_settings, name="edit-series"),
    path("roles/", role_views.roles, name="roles"),
    path("roles/edit", role_views.edit_roles, name="edit-roles"),
    path("press/", views.presses, name="presses"),
    path("press/choose", views.choose_press, name="choose-press"),
    path("press/new", views.new_press, name="new-press"),
]

outside_series = [
    path("", views.home, name="home"),
    path("new-series/", views.new_series, name="new-series"),
]
