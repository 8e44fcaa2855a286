"""Addresses: what the separator receives."""

from django.urls import path, re_path

from guides.handoff import views

_FILES = "pdf|zip|csv|plates|jsonld"

urlpatterns = [
    path("issues/<int:pk>/hand-off", views.issue, name="hand-off"),
    re_path(rf"^issues/(?P<pk>[0-9]+)/hand-off\.(?P<form>{_FILES}|changes)$", views.issue_file, name="hand-off-file"),
    path("issues/<int:pk>/pack", views.pack, name="make-pack"),
    path("guides/<int:pk>/hand-off", views.guide, name="guide-hand-off"),
    re_path(rf"^guides/(?P<pk>[0-9]+)/hand-off\.(?P<form>{_FILES})$", views.guide_file, name="guide-hand-off-file"),
    path("guides/<int:pk>/bring", views.bring, name="bring-marks"),
]
