"""Mail: printed by default, sent through the mail server that TRACKER_MAIL_URL names."""

from urllib.parse import unquote, urlparse

from django.core.exceptions import ImproperlyConfigured

from deploy.environment import text

_BACKENDS = {
    "console": "django.core.mail.backends.console.EmailBackend",
    "smtp": "django.core.mail.backends.smtp.EmailBackend",
    "smtps": "django.core.mail.backends.smtp.EmailBackend",
    "smtp+tls": "django.core.mail.backends.smtp.EmailBackend",
}
_PORTS = {"smtp": 25, "smtps": 465, "smtp+tls": 587}
_URL = urlparse(text("TRACKER_MAIL_URL"))
if _URL.scheme not in _BACKENDS:
    raise ImproperlyConfigured("TRACKER_MAIL_URL begins with smtp+tls://, smtps://, smtp:// or console:")

EMAIL_BACKEND = _BACKENDS[_URL.scheme]
EMAIL_HOST = _URL.hostname or ""
EMAIL_PORT = _URL.port or _PORTS.get(_URL.scheme, 0)
EMAIL_HOST_USER = unquote(_URL.username or "")
EMAIL_HOST_PASSWORD = unquote(_URL.password or "")
EMAIL_USE_TLS = _URL.scheme == "smtp+tls"
EMAIL_USE_SSL = _URL.scheme == "smtps"
EMAIL_TIMEOUT = 15
DEFAULT_FROM_EMAIL = SERVER_EMAIL = text("TRACKER_MAIL_FROM")
