"""Addresses: members, invitations and tokens."""

from django.urls import path

from bible.people import views

urlpatterns = [
    path("people/", views.people, name="people"),
    path("people/invite", views.new_invitation, name="invite"),
    path("people/second-factor", views.lead_factor, name="lead-factor"),
    path("people/<int:pk>/role", views.role, name="change-role"),
    path("people/<int:pk>/remove", views.remove, name="remove-member"),
    path("invitations/<int:pk>/withdraw", views.withdraw, name="withdraw-invitation"),
    path("tokens/", views.tokens, name="tokens"),
    path("tokens/<int:pk>/withdraw", views.withdraw_token, name="withdraw-token"),
]

outside_series = [
    path("join/<str:token>/", views.join, name="join"),
    path("join/<str:token>/new-account", views.new_account, name="new-account"),
]
