"""Addresses: found codes."""

from django.urls import path

from guides.found import views

urlpatterns = [path("found-codes/<int:pk>/crop", views.code_crop, name="code-crop")]
