"""Addresses: the continuity report."""

from django.urls import path

from guides.report import views

urlpatterns = [
    path("report/", views.report, name="continuity-report"),
    path("report/report.pdf", views.report_pdf, name="continuity-report-pdf"),
    path("report/marks", views.report_marks, name="report-marks"),
]
