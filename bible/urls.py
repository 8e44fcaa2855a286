"""Every address of the application: each room has its own. A series' pages begin with ``s/<short name>/``."""

from django.urls import include, path

from bible.accounts import urls as accounts
from bible.notices import urls as notices
from bible.people import urls as people
from bible.series import urls as series

handler500 = "bible.web.views.broken"

in_series = [
    path("", include("bible.subjects.urls")),
    path("", include("bible.locks.urls")),
    path("", include("bible.editions.urls")),
    path("", include("bible.proposals.urls")),
    path("", include("bible.scenes.urls")),
    path("", include("bible.series.urls")),
    path("", include("bible.tasks.urls")),
    path("", include("bible.people.urls")),
    path("", include("bible.activity.urls")),
    path("", include("bible.notices.urls")),
    path("", include("bible.chart.urls")),
    path("", include("guides.urls")),
]

urlpatterns = [
    path("", include("bible.web.urls")),
    path("", include(series.outside_series)),
    path("", include(accounts.outside_series)),
    path("", include(people.outside_series)),
    path("", include(notices.outside_series)),
    path("look/", include("guides.gallery.urls")),
    path("api/v1/", include("guides.api.urls")),
    path("s/<slug:slug>/", include(in_series)),
]
