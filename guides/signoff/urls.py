"""Addresses: an issue's way out."""

from django.urls import path

from guides.signoff import signed_views, views

urlpatterns = [
    path("going-out/", views.going_out, name="going-out"),
    path("signings/<int:pk>/", signed_views.signed, name="signed"),
    path("issues/<int:pk>/check", views.issue_check, name="issue-check"),
    path("issues/<int:pk>/put-in-check", views.put_in_check, name="put-in-check"),
    path("issues/<int:pk>/withdraw", views.withdraw, name="withdraw-issue"),
    path("issues/<int:pk>/sign-off", views.sign_off, name="sign-off"),
    path("issues/<int:pk>/reopen", views.reopen, name="reopen-issue"),
    path("issues/<int:pk>/pages", views.set_pages, name="set-pages"),
]
