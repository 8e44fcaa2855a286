"""The guides' addresses, below a series'."""

from django.urls import path, re_path

from guides.views import flags, guides, handoff, issues, locks, marks, reading, scenes, timeline, waivers

_FILES = "pdf|zip|csv|plates|jsonld"

urlpatterns = [
    path("", issues.desk, name="series"),
    path("parts/<int:part_pk>/lock", locks.lock, name="lock"),
    path("parts/<int:part_pk>/lock/impact", locks.lock_impact, name="lock-impact"),
    path("locks/<int:pk>/correct", locks.correct, name="correct-lock"),
    path("locks/<int:pk>/end", locks.end, name="end-lock"),
    path("bible/<int:pk>/timeline", timeline.subject_timeline, name="timeline"),
    path("scenes/new", scenes.new_scene, name="new-scene"),
    path("scenes/<int:pk>/edit", scenes.edit_scene, name="edit-scene"),
    path("guides/<int:pk>/scenes", scenes.page_scenes, name="page-scenes"),
    path("scene-areas/<int:pk>/remove", scenes.remove_area, name="remove-area"),
    path("flags/", flags.flags, name="flags"),
    path("flags/waive", waivers.waive_run, name="waive-run"),
    path("marks/<int:pk>/waive", waivers.waive_mark, name="waive-mark"),
    path("marks/<int:pk>/note", waivers.note_mark, name="note-mark"),
    path("waivers/<int:pk>/take-back", waivers.take_back, name="take-waiver-back"),
    path("issues/", issues.issues, name="issues"),
    path("issues/new", issues.new_issue, name="new-issue"),
    path("issues/<int:pk>/", issues.issue, name="issue"),
    path("issues/<int:issue_pk>/upload", guides.upload, name="upload"),
    path("issues/<int:pk>/hand-off", handoff.issue, name="hand-off"),
    re_path(rf"^issues/(?P<pk>[0-9]+)/hand-off\.(?P<form>{_FILES})$", handoff.issue_file, name="hand-off-file"),
    path("guides/<int:pk>/hand-off", handoff.guide, name="guide-hand-off"),
    re_path(rf"^guides/(?P<pk>[0-9]+)/hand-off\.(?P<form>{_FILES})$", handoff.guide_file, name="guide-hand-off-file"),
    path("guides/<int:pk>/bring", handoff.bring, name="bring-marks"),
    path("guides/<int:pk>/", guides.guide, name="guide"),
    re_path(r"^guides/(?P<pk>[0-9]+)/(?P<kind>original|screen|thumb)$", guides.picture, name="picture"),
    path("guides/<int:pk>/new-mark", marks.new_mark, name="new-mark"),
    path("marks/<int:pk>/", marks.mark, name="mark"),
    path("marks/<int:pk>/rewrite", marks.rewrite, name="rewrite-mark"),
    path("marks/<int:pk>/move", marks.move, name="move-mark"),
    path("marks/<int:pk>/point", marks.point, name="point-mark"),
    path("marks/<int:pk>/delete", marks.delete, name="delete-mark"),
    path("marks/<int:pk>/restore", marks.restore, name="restore-mark"),
    path("notation/change", reading.edit_notation, name="edit-notation"),
    path("chart/house", reading.house_chart, name="house-chart"),
    path("chart/<int:c>-<int:m>-<int:y>-<int:k>/marks", reading.tint_marks, name="tint-marks"),
]
