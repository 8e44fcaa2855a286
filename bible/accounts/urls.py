"""Addresses: signing in and out, one's account, a new password."""

from django.urls import path

from bible.accounts import reset_views, sign_in_views, views
from bible.web.access import anybody, invited

outside_series = [
    path("sign-in/", sign_in_views.SignIn.as_view(), name="login"),
    path("sign-in/code/", sign_in_views.second_step, name="sign-in-code"),
    path("sign-out/", sign_in_views.SignOut.as_view(), name="logout"),
    path("account/", views.account, name="account"),
    path("account/sign-out", views.sign_out_there, name="sign-out-there"),
    path("account/second-factor/", views.second_factor, name="second-factor"),
    path("account/second-factor/codes", views.new_codes, name="new-recovery-codes"),
    path("account/second-factor/remove", views.remove_factor, name="remove-second-factor"),
    path("password/", anybody(views.ChangePassword.as_view()), name="change-password"),
    path("password/forgotten/", reset_views.forgotten, name="forgotten-password"),
    path("password/new/<str:uidb64>/<str:token>/", invited(reset_views.NewPassword.as_view()), name="new-password"),
]
