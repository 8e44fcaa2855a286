"""The guides' addresses, below a series': each room has its own."""

from django.urls import include, path

urlpatterns = [
    path("", include("guides.issues.urls")),
    path("", include("guides.assignments.urls")),
    path("", include("guides.decisions.urls")),
    path("", include("guides.timeline.urls")),
    path("", include("guides.costumes.urls")),
    path("", include("guides.editions.urls")),
    path("", include("guides.regrouping.urls")),
    path("", include("guides.desk.urls")),
    path("", include("guides.booklets.urls")),
    path("", include("guides.flags.urls")),
    path("", include("guides.preview.urls")),
    path("", include("guides.signoff.urls")),
    path("", include("guides.uploads.urls")),
    path("", include("guides.handoff.urls")),
    path("", include("guides.proofs.urls")),
    path("", include("guides.charts.urls")),
    path("", include("guides.core.urls")),
    path("", include("guides.paint.urls")),
    path("", include("guides.found.urls")),
    path("", include("guides.imports.urls")),
    path("", include("guides.report.urls")),
    path("", include("guides.palettes.urls")),
]
