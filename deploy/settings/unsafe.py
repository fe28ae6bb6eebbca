"""What a production site must not start with. All of it is said at once, each with what to do."""

from __future__ import annotations

from collections.abc import Iterator
from ipaddress import ip_network
from urllib.parse import urlparse

from deploy.environment import items, text

from .place import DEBUG, PRODUCTION

SHORTEST_SECRET = 50
SHORTEST_TOKEN = 16
#: Words that stand in examples: whoever copied one has not made a secret.
EXAMPLE_WORDS = ("django-insecure", "change", "example", "secret", "password", "replace")
LOCAL_NAMES = ("localhost", "testserver", "127.0.0.1", "[::1]")


def refusals() -> list[str]:
    """Why these values are refused; the embedded product on one machine takes any."""
    if not PRODUCTION:
        return []
    return [*_secrets(), *_addresses(), *_proxies(), *_ground(), *_signing()]


def _secrets() -> Iterator[str]:
    if DEBUG:
        yield "TRACKER_DEBUG shows traces and settings to visitors: take it away."
    key = text("TRACKER_SECRET_KEY", "")
    if not key:
        yield "TRACKER_SECRET_KEY is missing: make one with `openssl rand -base64 60`."
    elif weak(key, SHORTEST_SECRET):
        yield f"TRACKER_SECRET_KEY can be guessed: {SHORTEST_SECRET} random characters or more, none from an example."
    if any(weak(old, SHORTEST_SECRET) for old in items("TRACKER_OLD_SECRET_KEYS")):
        yield "TRACKER_OLD_SECRET_KEYS holds a key that can be guessed: leave it out."
    token = text("TRACKER_METRICS_TOKEN", "")
    if token and weak(token, SHORTEST_TOKEN):
        yield f"TRACKER_METRICS_TOKEN can be guessed: {SHORTEST_TOKEN} random characters or more, or none at all."


def weak(value: str, shortest: int) -> bool:
    """Short, of few different characters, or copied from an example."""
    low = value.lower()
    return len(value) < shortest or len(set(value)) < 8 or any(low.startswith(word) for word in EXAMPLE_WORDS)


def _addresses() -> Iterator[str]:
    hosts = items("TRACKER_HOSTS")
    if not hosts:
        yield "TRACKER_HOSTS is missing: name the hosts under which the pages are reached."
    for host in hosts:
        if "*" in host or host.startswith("."):
            yield f"TRACKER_HOSTS must not hold a wildcard ({host}): name each host."
        elif host in LOCAL_NAMES:
            yield f"TRACKER_HOSTS must not hold {host}: health is answered without it."
    public = urlparse(text("TRACKER_PUBLIC_URL", ""))
    if public.scheme != "https":
        yield "TRACKER_PUBLIC_URL must be an https:// address: it is printed on labels and sent in mails."
    elif public.hostname not in hosts:
        yield "TRACKER_PUBLIC_URL names a host that is not in TRACKER_HOSTS."
    if text("TRACKER_OIDC_URL") and not text("TRACKER_OIDC_URL").startswith("https://"):
        yield "TRACKER_OIDC_URL must be an https:// address: who signs in is told over it."
    yield from _origins()


def _origins() -> Iterator[str]:
    for name in ("TRACKER_ORIGINS", "TRACKER_OIDC_PAGES"):
        for origin in items(name):
            if not origin.startswith("https://") or any(sign in origin for sign in "*; "):
                yield f"{name} must hold https:// addresses without a wildcard, not {origin}."


def _proxies() -> Iterator[str]:
    for one in items("TRACKER_PROXY"):
        try:
            network = ip_network(one, strict=False)
        except ValueError:
            yield f"TRACKER_PROXY must hold addresses of your own proxies, not {one}: whoever is named is believed."
            continue
        if network.prefixlen < (16 if network.version == 4 else 48):
            yield f"TRACKER_PROXY believes too many ({one}): name your own proxies."


def _ground() -> Iterator[str]:
    """Database, broker, store and mail: nothing that lives on one machine's disk or prints what it should send."""
    database = urlparse(text("DATABASE_URL", ""))
    if database.scheme not in ("postgresql", "postgres") or not database.path.strip("/"):
        yield "DATABASE_URL must be a postgresql:// address with a database's name; SQLite serves one machine only."
    if urlparse(text("REDIS_URL", "")).scheme not in ("redis", "rediss", "unix"):
        yield "REDIS_URL must be a redis:// or rediss:// address: a folder serves one machine only."
    if not text("TRACKER_S3_BUCKET"):
        yield "TRACKER_S3_BUCKET is missing: files on one machine's disk are not there on the next machine."
    if bool(text("TRACKER_S3_KEY_ID")) != bool(text("TRACKER_S3_SECRET")):
        yield "TRACKER_S3_KEY_ID and TRACKER_S3_SECRET belong together: set both, or none and use the machine's role."
    if not urlparse(text("TRACKER_MAIL_URL")).scheme.startswith("smtp"):
        yield "TRACKER_MAIL_URL must name a mail server: mails printed into a log reach nobody."
    sender = text("TRACKER_MAIL_FROM")
    if "@" not in sender or sender.rstrip(">").endswith("@localhost"):
        yield "TRACKER_MAIL_FROM must be an address at a domain of yours."


def _signing() -> Iterator[str]:
    if bool(text("TRACKER_SIGNING_CERTIFICATE", "")) != bool(text("TRACKER_SIGNING_KEY", "")):
        yield "TRACKER_SIGNING_CERTIFICATE and TRACKER_SIGNING_KEY belong together: set both."
