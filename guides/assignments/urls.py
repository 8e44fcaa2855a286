"""Addresses: who does which page by when."""

from django.urls import path

from guides.assignments import views

urlpatterns = [
    path("assignments/", views.assignments, name="assignments"),
    path("issues/<int:pk>/assignments", views.issue_assignments, name="issue-assignments"),
    path("issues/<int:pk>/assignments/change", views.change_assignments, name="change-assignments"),
    path("issues/<int:pk>/assignments/unassign", views.unassign_pages, name="unassign-pages"),
    path("issues/<int:pk>/to-read", views.to_read_page, name="to-read"),
    path("issues/<int:pk>/to-read.pdf", views.to_read_pdf, name="to-read-pdf"),
]
