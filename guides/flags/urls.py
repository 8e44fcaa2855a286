"""Addresses: disagreements between marks and the bible, and waivers of them."""

from django.urls import path

from guides.flags import views

urlpatterns = [
    path("flags/", views.flags, name="flags"),
    path("fades/", views.fades, name="fades"),
    path("flags/waive", views.waive_run, name="waive-run"),
    path("marks/<int:pk>/waive", views.waive_mark, name="waive-mark"),
    path("waivers/<int:pk>/remove", views.remove, name="remove-waiver"),
]
