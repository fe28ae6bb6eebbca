"""Addresses of signing in, of one's own account, and of invitations.

The names with underscores are django-allauth's: its views lead to each other by them. Only what is used is here; what
the library has besides (signing up, changing addresses) has no address.
"""

from allauth.account import views as allauth
from allauth.mfa.base import views as factor
from allauth.mfa.recovery_codes import views as recovery
from allauth.mfa.totp import views as totp
from allauth.mfa.webauthn import views as webauthn
from allauth.socialaccount import views as social
from django.urls import path, re_path

from commissioning.views import account, company, invitations, ways_in

FACTOR = "account/second-factor/"

urlpatterns = [
    path("", account.home, name="home"),
    # in and out; the library asks for them by its own names
    path("sign-in/", account.SignIn.as_view(), name="sign-in"),
    path("sign-in/", account.SignIn.as_view(), name="account_login"),
    path("sign-out/", account.SignOut.as_view(), name="sign-out"),
    path("sign-out/", account.SignOut.as_view(), name="account_logout"),
    path("sign-in/second-factor/", factor.authenticate, name="mfa_authenticate"),
    path("sign-in/passkey/", webauthn.login_webauthn, name="mfa_login_webauthn"),
    path("sign-in/code/", allauth.request_login_code, name="account_request_login_code"),
    path("sign-in/code/typed/", allauth.confirm_login_code, name="account_confirm_login_code"),
    path("sign-in/closed/", allauth.account_inactive, name="account_inactive"),
    # with the company's account
    path("sign-in/with/not-done/", social.login_error, name="socialaccount_login_error"),
    path("sign-in/with/left/", social.login_cancelled, name="socialaccount_login_cancelled"),
    path("sign-in/with/<str:provider_id>/", company.login, name="openid_connect_login"),
    path("sign-in/with/<str:provider_id>/back/", company.callback, name="openid_connect_callback"),
    # the password
    path("password/", account.ChangePassword.as_view(), name="password-change"),
    path("password/lost/", allauth.password_reset, name="account_reset_password"),
    path("password/lost/sent/", allauth.password_reset_done, name="account_reset_password_done"),
    path("password/lost/done/", allauth.password_reset_from_key_done, name="account_reset_password_from_key_done"),
    re_path(
        r"^password/lost/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        allauth.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    # one's own account
    path("account/", account.account, name="account"),
    path("account/again/", allauth.reauthenticate, name="account_reauthenticate"),
    path("account/again/code/", factor.reauthenticate, name="mfa_reauthenticate"),
    path("account/again/passkey/", webauthn.reauthenticate_webauthn, name="mfa_reauthenticate_webauthn"),
    path("account/company/", social.connections, name="socialaccount_connections"),
    path("account/sessions/", ways_in.Sessions.as_view(), name="usersessions_list"),
    path("account/tokens/", ways_in.tokens, name="tokens"),
    path("account/tokens/new/", ways_in.token_new, name="token-new"),
    path("account/tokens/<str:key>/take-back/", ways_in.token_take_back, name="token-take-back"),
    path(FACTOR, factor.index, name="mfa_index"),
    path(f"{FACTOR}app/", totp.activate_totp, name="mfa_activate_totp"),
    path(f"{FACTOR}app/remove/", totp.deactivate_totp, name="mfa_deactivate_totp"),
    path(f"{FACTOR}passkeys/", webauthn.list_webauthn, name="mfa_list_webauthn"),
    path(f"{FACTOR}passkeys/add/", ways_in.AddPasskey.as_view(), name="mfa_add_webauthn"),
    path(f"{FACTOR}passkeys/<int:pk>/name/", webauthn.edit_webauthn, name="mfa_edit_webauthn"),
    path(f"{FACTOR}passkeys/<int:pk>/remove/", webauthn.remove_webauthn, name="mfa_remove_webauthn"),
    path(f"{FACTOR}recovery-codes/", recovery.view_recovery_codes, name="mfa_view_recovery_codes"),
    path(f"{FACTOR}recovery-codes/new/", recovery.generate_recovery_codes, name="mfa_generate_recovery_codes"),
    path(f"{FACTOR}recovery-codes/file/", recovery.download_recovery_codes, name="mfa_download_recovery_codes"),
    # invitations
    path("invitation/", invitations.show, name="invitation"),
    path("invitation/<uuid:id>/<str:secret>/", invitations.open_link, name="invitation-open"),
    path("p/<str:code>/invitations/new/", invitations.new, name="invitation-new"),
    path("p/<str:code>/invitations/<uuid:id>/again/", invitations.again, name="invitation-again"),
    path("p/<str:code>/invitations/<uuid:id>/withdraw/", invitations.withdraw, name="invitation-withdraw"),
]
