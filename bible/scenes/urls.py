"""Addresses: rules that shift tints on purpose."""

from django.urls import path

from bible.scenes import views

urlpatterns = [
    path("scenes/", views.scenes, name="scenes"),
    path("scenes/look", views.scene_look, name="scene-look"),
    path("scenes/<int:pk>/", views.scene, name="scene"),
]
