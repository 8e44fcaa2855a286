"""Addresses: the house's own chart, printed and scanned."""

from django.urls import path, re_path

from guides.charts import views

urlpatterns = [
    path("charts/", views.charts, name="charts"),
    path("charts/new-sheet", views.new_chart_sheet, name="new-chart-sheet"),
    path("charts/new-scan", views.new_chart_scan, name="new-chart-scan"),
    path("charts/drift", views.chart_drift, name="chart-drift"),
    path("chart-sheets/<int:pk>.pdf", views.chart_sheet, name="chart-sheet"),
    path("chart-sheets/<int:pk>.json", views.chart_sheet_layout, name="chart-sheet-layout"),
    path("chart-scans/<int:pk>/", views.chart_scan, name="chart-scan"),
    path("chart-scans/<int:pk>/corners", views.chart_corners, name="chart-corners"),
    path("chart-scans/<int:pk>/read", views.read_chart, name="read-chart-scan"),
    path("chart-scans/<int:pk>/keep", views.keep_chart_press, name="keep-chart-press"),
    re_path(
        r"^chart-scans/(?P<pk>[0-9]+)/(?P<kind>original|screen|thumb)$", views.chart_picture, name="chart-picture"
    ),
]
