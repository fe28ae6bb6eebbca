"""Static files, which are built before the start, and files of the record, which lie in one store for all machines."""

from botocore.config import Config

from deploy.environment import number, text

from .place import BASE_DIR, DATA_DIR, DEBUG, PRODUCTION

STATIC_URL = "static/"
#: Production collects and compresses them when it is installed; embedded, they are served straight from the packages.
STATIC_ROOT = BASE_DIR / ".static" if PRODUCTION else DATA_DIR / "static"
if not PRODUCTION:
    STATIC_ROOT.mkdir(exist_ok=True)
WHITENOISE_USE_FINDERS = not PRODUCTION
WHITENOISE_AUTOREFRESH = DEBUG
MEDIA_URL = "files/"
MEDIA_ROOT = DATA_DIR / "files"


def s3_options(bucket: str) -> dict[str, object]:
    """How the S3-compatible store is reached: nothing public, nothing overwritten, no wait without an end."""
    return {
        "bucket_name": bucket,
        "endpoint_url": text("TRACKER_S3_ENDPOINT") or None,
        "region_name": text("TRACKER_S3_REGION"),
        "access_key": text("TRACKER_S3_KEY_ID") or None,
        "secret_key": text("TRACKER_S3_SECRET") or None,
        "addressing_style": "path",
        "signature_version": "s3v4",
        "default_acl": None,
        "file_overwrite": False,
        "client_config": Config(
            signature_version="s3v4",
            s3={"addressing_style": "path"},
            connect_timeout=5,
            read_timeout=30,
            retries={"max_attempts": 3, "mode": "standard"},
            # Checksums of every request are newer than many S3-compatible stores; they are sent where asked for.
            request_checksum_calculation="when_required",
            response_checksum_validation="when_required",
        ),
    }


_BUCKET = text("TRACKER_S3_BUCKET")
STORAGES = {
    "default": {"BACKEND": "storages.backends.s3.S3Storage", "OPTIONS": s3_options(_BUCKET)}
    if _BUCKET
    else {"BACKEND": "commissioning.disk_store.WholeFileStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}

BACKUP_DIR = text("TRACKER_BACKUP_DIR", "" if PRODUCTION else str(DATA_DIR / "backups"))
BACKUPS_KEPT = number("TRACKER_BACKUPS_KEPT")
