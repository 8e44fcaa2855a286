"""Addresses: subjects, costumes and parts."""

from django.urls import path

from bible.subjects import views

urlpatterns = [
    path("bible/", views.subjects, name="bible"),
    path("bible/new", views.new_subject, name="new-subject"),
    path("bible/<int:pk>/", views.subject, name="subject"),
    path("bible/<int:pk>/edit", views.edit_subject, name="edit-subject"),
    path("bible/<int:pk>/owners", views.owners, name="owners"),
    path("bible/<int:pk>/remove", views.remove_subject, name="remove-subject"),
    path("bible/<int:pk>/new-costume", views.new_costume, name="new-costume"),
    path("costumes/<int:pk>/remove", views.remove_costume, name="remove-costume"),
    path("costumes/<int:pk>/new-part", views.new_part, name="new-part"),
    path("parts/<int:pk>/edit", views.edit_part, name="edit-part"),
    path("parts/<int:pk>/remove", views.remove_part, name="remove-part"),
    path("scenes/<int:pk>/remove", views.remove_scene, name="remove-scene"),
    path("issues/<int:pk>/remove", views.remove_issue, name="remove-issue"),
    path("archived/", views.archived, name="archived"),
]
