"""Addresses: subjects, locks, issues and marks from tables."""

from django.urls import path

from guides.imports import views

urlpatterns = [
    path("bring-in/bible", views.bible_table, name="bring-bible"),
    path("bring-in/marks", views.marks_table, name="bring-marks-table"),
    path("bring-in/issues", views.issues_table, name="bring-issues"),
    path("bring-in/bible-rows/<int:pk>/", views.bible_rows, name="bring-bible-rows"),
    path("bring-in/marks-rows/<int:pk>/", views.marks_rows, name="bring-marks-rows"),
    path("bring-in/issues-rows/<int:pk>/", views.issues_rows, name="bring-issues-rows"),
    path("bring-in/bible-rows/<int:pk>/undo", views.undo_bible, name="undo-bible-table"),
    path("bring-in/marks-rows/<int:pk>/undo", views.undo_marks, name="undo-marks-table"),
    path("bring-in/issues-rows/<int:pk>/undo", views.undo_issues, name="undo-issues-table"),
]
