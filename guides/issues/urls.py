"""Addresses: the issues of a series, and what comes first on somebody's day."""

from django.urls import path

from guides.issues import views

urlpatterns = [
    path("", views.desk, name="series"),
    path("search/", views.search_all, name="search"),
    path("issues/", views.issues, name="issues"),
    path("issues/new", views.new_issue, name="new-issue"),
    path("issues/<int:pk>/", views.issue, name="issue"),
    path("issues/<int:pk>/move", views.move, name="move-issue"),
]
