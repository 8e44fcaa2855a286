"""Addresses: tables of every kind brought in, looked at, and taken back."""

from django.urls import path

from guides.imports.views import STARTS, file_view, rows_view, undo_view
from guides.models import BroughtTable

urlpatterns = [
    one
    for kind in BroughtTable.Kind
    for one in (
        path(f"bring-in/{kind}", file_view(kind), name=STARTS[kind]),
        path(f"bring-in/{kind}-rows/<int:pk>/", rows_view(kind), name=f"bring-{kind}-rows"),
        path(f"bring-in/{kind}-rows/<int:pk>/undo", undo_view(kind), name=f"undo-{kind}-table"),
    )
]
