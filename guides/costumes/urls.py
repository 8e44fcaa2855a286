"""Addresses: the picture that a costume is shown in."""

from django.urls import path, re_path

from guides.costumes import views

urlpatterns = [
    path("costumes/<int:pk>/picture", views.picture, name="choose-picture"),
    path("costumes/<int:pk>/picture/page", views.from_page, name="choose-page"),
    path("costumes/<int:pk>/picture/leave", views.leave, name="leave-picture"),
    path("costumes/<int:pk>/picture/guides/<int:guide>.jpg", views.page_picture, name="costume-on-page"),
    path("costume-pictures/<int:pk>/again", views.again, name="picture-again"),
    path("costume-pictures/<int:pk>.jpg", views.chosen_picture, name="chosen-picture"),
    re_path(
        r"^costume-pictures/(?P<pk>[0-9]+)/(?P<kind>original|screen|thumb)$", views.drawing, name="model-drawing"
    ),
]
