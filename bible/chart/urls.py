"""Addresses: the tints of a series, how its codes read, and how alike they print."""

from django.urls import path

from bible.chart import views

urlpatterns = [
    path("chart/", views.chart, name="chart"),
    path("chart/find", views.find_tint, name="find-tint"),
    path("chart/look-alikes", views.look_alikes, name="look-alikes"),
    path("chart/gradient", views.gradient, name="gradient"),
    path("chart/audit", views.chart_audit, name="chart-audit"),
    path("chart/<tint:tint>/", views.tint, name="tint"),
    path("chart/<tint:tint>/dots.png", views.dots, name="tint-dots"),
    path("notation/", views.notation, name="notation"),
]
