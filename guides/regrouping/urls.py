"""Addresses: merging, moving, re-assigning, and taking it back."""

from django.urls import path

from guides.regrouping import views

urlpatterns = [
    path("bible/<int:pk>/regroup", views.regroup, name="regroup"),
    path("regroupings/", views.regroupings, name="regroupings"),
    path("regroupings/<int:pk>/undo", views.undo, name="undo-regrouping"),
]
