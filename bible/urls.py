"""Every address of the application. A series' own pages begin with ``s/<short name>/``."""

from django.contrib.auth.views import LogoutView
from django.urls import URLPattern, URLResolver, include, path

from bible import health
from bible.access import anybody
from bible.views import (
    account,
    activity,
    edits,
    help,
    lookup,
    notes,
    people,
    proposals,
    removal,
    scenes,
    series,
    subjects,
    theme,
    tokens,
)

handler500 = "bible.views.faults.broken"

in_series: list[URLPattern | URLResolver] = [
    path("bible/", subjects.subjects, name="bible"),
    path("bible/new", subjects.new_subject, name="new-subject"),
    path("bible/<int:pk>/", subjects.subject, name="subject"),
    path("bible/<int:pk>/edit", edits.subject, name="edit-subject"),
    path("bible/<int:pk>/remove", removal.subject, name="remove-subject"),
    path("bible/<int:pk>/new-costume", subjects.new_costume, name="new-costume"),
    path("costumes/<int:pk>/remove", removal.costume, name="remove-costume"),
    path("costumes/<int:pk>/new-part", subjects.new_part, name="new-part"),
    path("parts/", lookup.part_options, name="part-options"),
    path("parts/<int:pk>/edit", edits.part, name="edit-part"),
    path("parts/<int:pk>/remove", removal.part, name="remove-part"),
    path("parts/<int:part_pk>/propose", proposals.new_proposal, name="propose"),
    path("proposals/", proposals.proposals, name="proposals"),
    path("proposals/<int:pk>/decline", proposals.decline, name="decline-proposal"),
    path("proposals/<int:pk>/take-back", proposals.take_back, name="take-proposal-back"),
    path("scenes/", scenes.scenes, name="scenes"),
    path("scenes/<int:pk>/", scenes.scene, name="scene"),
    path("scenes/<int:pk>/remove", removal.scene, name="remove-scene"),
    path("issues/<int:pk>/edit", edits.issue, name="edit-issue"),
    path("issues/<int:pk>/remove", removal.issue, name="remove-issue"),
    path("locks/<int:pk>/note", notes.note_lock, name="note-lock"),
    path("archived/", removal.archived, name="archived"),
    path("settings/", edits.series_settings, name="edit-series"),
    path("people/", people.people, name="people"),
    path("activity/", activity.activity, name="activity"),
    path("people/<int:pk>/", activity.person, name="person"),
    path("people/invite", people.new_invitation, name="invite"),
    path("people/<int:pk>/role", people.role, name="change-role"),
    path("people/<int:pk>/remove", people.remove, name="remove-member"),
    path("invitations/<int:pk>/withdraw", people.withdraw, name="withdraw-invitation"),
    path("tokens/", tokens.tokens, name="tokens"),
    path("tokens/<int:pk>/withdraw", tokens.withdraw, name="withdraw-token"),
    path("look-up/", lookup.lookup, name="lookup"),
    path("", include("bible.colour_urls")),
    path("", include("guides.urls")),
]

urlpatterns = [
    path("", series.home, name="home"),
    path("healthz/live", health.live, name="health-live"),
    path("healthz/ready", health.ready, name="health-ready"),
    path("sign-in/", account.SignIn.as_view(), name="login"),
    path("sign-out/", LogoutView.as_view(), name="logout"),
    path("help/", help.index, name="help"),
    path("help/keys/", help.keys, name="help-keys"),
    path("help/<slug:topic>/", help.page, name="help-page"),
    path("look/", include("guides.look_urls")),
    path("theme/", theme.choose, name="theme"),
    path("password/", anybody(account.ChangePassword.as_view()), name="change-password"),
    path("new-series/", series.new_series, name="new-series"),
    path("join/<str:token>/", people.join, name="join"),
    path("join/<str:token>/new-account", people.new_account, name="new-account"),
    path("api/v1/", include("guides.api.urls")),
    path("s/<slug:slug>/", include(in_series)),
]
