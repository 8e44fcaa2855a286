"""Addresses: which issues use which tints."""

from django.urls import path, re_path

from guides.palettes import views

urlpatterns = [
    path("palette/", views.room, name="palette"),
    re_path(r"^palette/palette\.(?P<list_form>cxf|txt|css)$", views.palette_file, name="palette-file"),
    path("palette/compare", views.compare, name="palette-compare"),
    path("palette/near", views.near, name="palette-near"),
    path("palette/old-looks", views.old_looks, name="palette-old"),
    path("palette/tint/<tint:tint>", views.tint_uses, name="palette-tint"),
]
