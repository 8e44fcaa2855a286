"""The address of a guide's stored pictures."""

from django.urls import re_path

from guides.core import views

urlpatterns = [
    re_path(r"^guides/(?P<pk>[0-9]+)/(?P<kind>original|screen|thumb)$", views.picture, name="picture"),
]
