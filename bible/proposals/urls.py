"""Addresses: locks that somebody without the right to lock has asked for."""

from django.urls import path

from bible.proposals import views

urlpatterns = [
    path("parts/<int:part_pk>/propose", views.new_proposal, name="propose"),
    path("proposals/", views.proposals, name="proposals"),
    path("proposals/<int:pk>/decline", views.decline, name="decline-proposal"),
    path("proposals/<int:pk>/withdraw", views.withdraw_own, name="withdraw-proposal"),
]
