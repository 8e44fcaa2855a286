"""Addresses: guides, marks, scene areas, waivers and notes, and whether a mark agrees with the bible."""

from django.urls import re_path

from guides.core import views

urlpatterns = [
    re_path(r"^guides/(?P<pk>[0-9]+)/(?P<kind>original|screen|thumb)$", views.picture, name="picture"),
]
