"""The guides' addresses outside any series."""

from django.urls import path

from guides.views import look

urlpatterns = [path("", look.look, name="look")]
