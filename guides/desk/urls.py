"""Addresses: marking a page."""

from django.urls import path

from guides.desk import found_views, guide_views, mark_views, views

urlpatterns = [
    path("bible/<int:pk>/notes", guide_views.subject_notes, name="subject-notes"),
    path("marks/<int:pk>/note", guide_views.note_mark, name="note-mark"),
    path("issues/<int:pk>/page", guide_views.page_of_issue, name="page-of-issue"),
    path("guides/<int:pk>/", guide_views.guide, name="guide"),
    path("guides/<int:pk>/areas", guide_views.page_areas, name="page-areas"),
    path("guides/<int:pk>/coloured-by", guide_views.coloured_by, name="coloured-by"),
    path("guides/<int:pk>/new-mark", mark_views.new_mark, name="new-mark"),
    path("guides/<int:pk>/found-codes", found_views.found_codes, name="found-codes"),
    path("guides/<int:pk>/found-codes/search", found_views.search_codes, name="search-codes"),
    path("guides/<int:pk>/found-codes/sure", found_views.take_sure, name="take-sure-codes"),
    path("guides/<int:pk>/found-codes/likely", found_views.take_likely, name="take-likely-codes"),
    path("guides/<int:pk>/found-codes/sheet", found_views.sheet_anew, name="sheet-anew"),
    path("guides/<int:pk>/found-codes/let-in", found_views.let_in, name="let-in"),
    path("guides/<int:pk>/found-codes/cast", found_views.page_cast, name="page-cast"),
    path("found-codes/<int:pk>/answer", found_views.answer_code, name="answer-code"),
    path("guides/<int:pk>/undo", views.undo_last, name="undo"),
    path("guides/<int:pk>/redo", views.redo_last, name="redo"),
    path("guides/<int:pk>/cast", views.cast, name="cast"),
    path("guides/<int:pk>/last-issue", views.last_issue, name="last-issue"),
    path("guides/<int:pk>/page-note", views.page_note, name="page-note"),
    path("guides/<int:pk>/page-notes/<int:note_pk>/remove", views.remove_note, name="remove-page-note"),
    path("guides/<int:pk>/draw-scene", views.draw_scene, name="draw-scene"),
    path("marks/<int:pk>/", mark_views.mark, name="mark"),
    path("marks/<int:pk>/rewrite", mark_views.rewrite, name="rewrite-mark"),
    path("marks/<int:pk>/move", mark_views.move, name="move-mark"),
    path("marks/<int:pk>/point", mark_views.point, name="point-mark"),
    path("marks/<int:pk>/delete", mark_views.delete, name="delete-mark"),
    path("marks/<int:pk>/paint/looked-at", mark_views.looked_at, name="paint-looked-at"),
    path("marks/<int:pk>/restore", mark_views.restore, name="restore-mark"),
]
