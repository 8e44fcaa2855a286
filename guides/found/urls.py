"""Addresses: found codes."""

from django.urls import path

from guides.found import views

urlpatterns = [
    path("found-codes/", views.series_codes, name="series-codes"),
    path("found-codes/letting-in", views.letting_in, name="letting-codes-in"),
    path("found-codes/<int:pk>/crop", views.code_crop, name="code-crop"),
]
