"""How people get in: what is decided here is how long, how often, and with whom.

Sign-in is django-allauth's: passwords, authenticator apps, passkeys, recovery codes, mailed codes, the list of
sessions, and single sign-on by OpenID Connect.
"""

from datetime import timedelta

from django.core.exceptions import ImproperlyConfigured

from deploy.environment import number, text

from .place import PRODUCTION

# Sessions. A shift underground or behind switchgear may pass without signal: sixteen hours without a request end a
# session, and so do seven days after signing in, however busy. What waits on a phone stays there over both.
SESSION_COOKIE_AGE = number("TRACKER_SESSION_IDLE_HOURS") * 3600
#: Seconds after signing in at which a session ends, however busy it is.
SESSION_LONGEST = number("TRACKER_SESSION_HOURS") * 3600
if SESSION_LONGEST > 366 * 86400:
    raise ImproperlyConfigured("TRACKER_SESSION_HOURS must not be longer than a year: 8784.")
if PRODUCTION:
    # The prefix makes a browser refuse the cookie unless it came encrypted, from this host, for all of it.
    SESSION_COOKIE_NAME = "__Host-session"
    CSRF_COOKIE_NAME = "__Host-csrf"

# Counters of wrong tries and used one-time codes live in the database, which every web process shares.
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "shared_cache",
        "OPTIONS": {"MAX_ENTRIES": 100_000},
    }
}

AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("username", "name", "email")},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
#: Seconds for which the link of a mailed password reset holds.
PASSWORD_RESET_TIMEOUT = 3600
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"

ACCOUNT_ADAPTER = "commissioning.sign_in.accounts.Accounts"
ACCOUNT_LOGIN_METHODS = {"username", "email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "username*", "password1*", "password2*"]
ACCOUNT_EMAIL_VERIFICATION = "none"  # an account is made from a link that was mailed, or by the operator
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False  # nobody is mailed because somebody else typed their address
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_LOGIN_BY_CODE_ENABLED = True
ACCOUNT_LOGIN_BY_CODE_TIMEOUT = 600
ACCOUNT_USER_DISPLAY = "commissioning.sign_in.accounts.name_of"
ACCOUNT_DEFAULT_HTTP_PROTOCOL = "https" if PRODUCTION else "http"
ACCOUNT_FORMS = {
    "login": "commissioning.forms.account.SignInForm",
    "request_login_code": "commissioning.forms.account.MailedCodeForm",
    "confirm_login_code": "commissioning.forms.account.TypedCodeForm",
    "reset_password": "commissioning.forms.account.AskResetForm",
    "reset_password_from_key": "commissioning.forms.account.NewPasswordForm",
    "reauthenticate": "commissioning.forms.account.PasswordOnceMoreForm",
}
# Wrong tries are counted by place and account together, never by account alone: whoever guesses at somebody's
# account shuts out only the place that they guess from. `commissioning.sign_in.attempts` has the rest.
ACCOUNT_RATE_LIMITS = {
    "login": None,  # counted where the password is checked, for pages and API alike
    "login_failed": "8/5m/key",
    "sign_in_place": "60/5m/ip",
    "sign_in_account": "100/1d/key",
    "request_login_code": "10/5m/ip",
    "reset_password": "10/5m/ip",
    "reset_password_from_key": "20/5m/ip",
    "signup": "20/5m/ip",
}
#: Reverse proxies in front of the product, so that a place is the client's address and not the proxy's.
ALLAUTH_TRUSTED_PROXY_COUNT = number("TRACKER_PROXY_HOPS") if PRODUCTION else 0

MFA_ADAPTER = "commissioning.sign_in.second_factor.SecondFactor"
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_ALLOW_UNVERIFIED_EMAIL = True  # see ACCOUNT_EMAIL_VERIFICATION
MFA_TOTP_ISSUER = "commissioning tracker"
MFA_TOTP_TOLERANCE = 1  # a phone's clock may be half a minute off
MFA_FORMS = {
    "authenticate": "commissioning.forms.second_factor.CodeForm",
    "reauthenticate": "commissioning.forms.second_factor.CodeOnceMoreForm",
    "activate_totp": "commissioning.forms.second_factor.ActivateAppForm",
    "add_webauthn": "commissioning.forms.second_factor.AddPasskeyForm",
    "edit_webauthn": "commissioning.forms.second_factor.NamePasskeyForm",
}

# Single sign-on by OpenID Connect: on when TRACKER_OIDC_URL names the provider.
SOCIALACCOUNT_ADAPTER = "commissioning.sign_in.company.CompanySignIn"
SOCIALACCOUNT_EMAIL_AUTHENTICATION = False  # an address that a provider states opens nobody's account
SOCIALACCOUNT_STORE_TOKENS = False
SOCIALACCOUNT_LOGIN_ON_GET = False
#: What the button says: "sign in with …".
COMPANY_SIGN_IN = text("TRACKER_OIDC_NAME")
OIDC_URL = text("TRACKER_OIDC_URL").rstrip("/")
SOCIALACCOUNT_PROVIDERS: dict[str, object] = {"openid_connect": {"OAUTH_PKCE_ENABLED": True, "APPS": []}}
if OIDC_URL:
    _client, _secret = text("TRACKER_OIDC_CLIENT_ID"), text("TRACKER_OIDC_SECRET")
    if not _client or not _secret:
        raise ImproperlyConfigured("TRACKER_OIDC_URL needs TRACKER_OIDC_CLIENT_ID and TRACKER_OIDC_SECRET beside it.")
    SOCIALACCOUNT_PROVIDERS = {
        "openid_connect": {
            "OAUTH_PKCE_ENABLED": True,
            "APPS": [
                {
                    "provider_id": "company",
                    "name": COMPANY_SIGN_IN,
                    "client_id": _client,
                    "secret": _secret,
                    "settings": {"server_url": OIDC_URL, "fetch_userinfo": True},
                }
            ],
        }
    }

# Tokens of the API: kept as digests, with what they may do and until when.
KNOX_TOKEN_MODEL = "commissioning.ApiToken"  # noqa: S105 (the name of a model)
REST_KNOX = {"TOKEN_TTL": timedelta(hours=12), "TOKEN_PREFIX": "ct_"}

#: Days for which the link of an invitation holds.
INVITATION_DAYS = 14
