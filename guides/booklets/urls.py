"""Addresses: the bible to take along: sheets, booklets, the pocket look-up."""

from django.urls import path

from guides.booklets import views

urlpatterns = [
    path("bible/<int:pk>/sheet", views.sheet, name="colour-sheet"),
    path("bible/<int:pk>/sheet.pdf", views.sheet_pdf, name="colour-sheet-pdf"),
    path("bible/<int:pk>/wall.pdf", views.wall_sheets, name="wall-sheets"),
    path("bible/<int:pk>/sheet.jpg", views.sheet_picture, name="colour-sheet-picture"),
    path("costumes/<int:pk>/picture.jpg", views.costume_picture, name="costume-picture"),
    path("pocket/", views.pocket, name="pocket"),
    path("pocket/data.json", views.data, name="pocket-data"),
    path("pocket/worker.js", views.worker, name="pocket-worker"),
    path("pocket/manifest.webmanifest", views.manifest, name="pocket-manifest"),
    path("look-up/worker.js", views.worker, name="lookup-worker"),
    path("booklets/", views.booklets, name="booklets"),
    path("booklets/new", views.new_booklet, name="new-booklet"),
    path("booklets/<int:pk>/", views.booklet, name="booklet"),
    path("booklets/<int:pk>/booklet.pdf", views.booklet_file, name="booklet-file"),
]
