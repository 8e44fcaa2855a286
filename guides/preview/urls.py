"""Addresses: a guide as it would print, its plates, and areas that sink into their neighbours."""

from django.urls import path, re_path

from guides.preview import views

urlpatterns = [
    path("sinking/", views.sinking, name="sinking"),
    path("sinking/look", views.look_for_sinking, name="look-for-sinking"),
    path("sinking/<int:pk>/crop.jpg", views.sinking_crop, name="sinking-crop"),
    path("sinking/<int:pk>/waive", views.waive_sinking, name="waive-sinking"),
    path("sinking/<int:pk>/remove-waiver", views.remove_sinking_waiver, name="remove-sinking-waiver"),
    path("guides/<int:pk>/as-printed", views.as_printed, name="as-printed"),
    path("guides/<int:pk>/printed.jpg", views.picture, name="printed-picture"),
    path("guides/<int:pk>/plates", views.plates, name="plates"),
    re_path(r"^guides/(?P<pk>[0-9]+)/plates/(?P<inks>[cmyk]{1,4})\.jpg$", views.plate_picture, name="plate-picture"),
]
