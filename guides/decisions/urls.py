"""Addresses: locks, scenes and readings as they are decided from what marks say."""

from django.urls import path

from guides.decisions import (
    costume_table_views,
    costume_views,
    lock_views,
    part_views,
    scene_views,
    undo_views,
    views,
)

urlpatterns = [
    path("parts/<int:part_pk>/lock", lock_views.lock, name="lock"),
    path("parts/<int:part_pk>/lock/impact", lock_views.lock_impact, name="lock-impact"),
    path("locks/<int:pk>/correct", lock_views.correct, name="correct-lock"),
    path("locks/<int:pk>/end", lock_views.end, name="end-lock"),
    path("locks/<int:pk>/undo", undo_views.undo, name="undo-lock"),
    path("parts/<int:pk>/held-within", part_views.held_within, name="held-within"),
    path("costumes/<int:pk>/edit", costume_views.edit, name="edit-costume"),
    path("costumes/<int:pk>/codes", costume_table_views.table, name="costume-codes"),
    path("costumes/<int:pk>/copy", costume_table_views.copy, name="copy-costume"),
    path("scenes/new", scene_views.new_scene, name="new-scene"),
    path("scenes/<int:pk>/edit", scene_views.edit_scene, name="edit-scene"),
    path("guides/<int:pk>/scenes", scene_views.page_scenes, name="page-scenes"),
    path("scene-areas/<int:pk>/remove", scene_views.remove_area, name="remove-area"),
    path("settle/", views.overview, name="settle"),
    path("settle/all", views.settle_everything, name="settle-everything"),
    path("subjects/<int:pk>/settle", views.settle_subject, name="settle-subject"),
    path("notation/change", views.edit_notation, name="edit-notation"),
    path("chart/house", views.house_chart, name="house-chart"),
    path("chart/<tint:tint>/marks", views.tint_marks, name="tint-marks"),
]
