"""The guides' addresses, below a series'."""

from django.urls import path, re_path

from guides.views import flags, guides, issues, locks, marks, reading, timeline

urlpatterns = [
    path("", issues.desk, name="series"),
    path("parts/<int:part_pk>/lock", locks.lock, name="lock"),
    path("parts/<int:part_pk>/lock/impact", locks.lock_impact, name="lock-impact"),
    path("locks/<int:pk>/correct", locks.correct, name="correct-lock"),
    path("locks/<int:pk>/end", locks.end, name="end-lock"),
    path("bible/<int:pk>/timeline", timeline.subject_timeline, name="timeline"),
    path("flags/", flags.flags, name="flags"),
    path("issues/", issues.issues, name="issues"),
    path("issues/new", issues.new_issue, name="new-issue"),
    path("issues/<int:pk>/", issues.issue, name="issue"),
    path("issues/<int:issue_pk>/upload", guides.upload, name="upload"),
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
