"""The addresses of a series' colour pages. A tint is addressed by its percentages: 25-50-100-0 is C25 M50 Y100."""

from django.urls import path

from bible.views import chart, gradient, look_alikes, notation, press

urlpatterns = [
    path("chart/", chart.chart, name="chart"),
    path("chart/find", chart.find_tint, name="find-tint"),
    path("chart/look-alikes", look_alikes.look_alikes, name="look-alikes"),
    path("chart/gradient", gradient.gradient, name="gradient"),
    path("chart/audit", notation.chart_audit, name="chart-audit"),
    path("chart/<int:c>-<int:m>-<int:y>-<int:k>/", chart.tint, name="tint"),
    path("chart/<int:c>-<int:m>-<int:y>-<int:k>/dots.png", chart.dots, name="tint-dots"),
    path("press/", press.presses, name="presses"),
    path("press/choose", press.choose_press, name="choose-press"),
    path("press/new", press.new_press, name="new-press"),
    path("notation/", notation.notation, name="notation"),
]
