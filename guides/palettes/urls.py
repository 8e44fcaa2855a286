"""Addresses: which issues use which tints."""

from django.urls import path, register_converter

from guides.palettes import views
from guides.palettes.formats import PaletteFormatConverter

register_converter(PaletteFormatConverter, "palette_format")

urlpatterns = [
    path("palette/", views.room, name="palette"),
    path("palette/palette.<palette_format:palette_format>", views.palette_file, name="palette-file"),
    path("palette/compare", views.compare, name="palette-compare"),
    path("palette/near", views.near, name="palette-near"),
    path("palette/old-looks", views.old_looks, name="palette-old"),
    path("palette/tint/<tint:tint>", views.tint_uses, name="palette-tint"),
]
