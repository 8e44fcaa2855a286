"""Addresses: scans of printed pages laid over their guides."""

from django.urls import path, re_path

from guides.proofs import views

urlpatterns = [
    path("proofs/", views.proofs, name="proofs"),
    path("proofs/forgotten", views.forgotten, name="proofs-forgotten"),
    path("proofs/<int:pk>/", views.proof, name="proof"),
    path("proofs/<int:pk>/read", views.read, name="read-proof"),
    path("proofs/<int:pk>/points", views.points, name="proof-points"),
    path("proofs/<int:pk>/corrections.pdf", views.page_corrections, name="page-corrections"),
    re_path(r"^proofs/(?P<pk>[0-9]+)/(?P<kind>original|screen|thumb|laid)$", views.picture, name="proof-picture"),
    path("proof-readings/<int:pk>/decide", views.decide_reading, name="decide-reading"),
    path("issues/<int:pk>/corrections.pdf", views.issue_corrections, name="issue-corrections"),
    path("guides/<int:pk>/new-proof", views.new_proof, name="new-proof"),
]
