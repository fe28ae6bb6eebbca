"""Where the product stands: its code, its data folder, and whether it is for real."""

from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

from deploy.environment import text

BASE_DIR = Path(__file__).resolve().parent.parent.parent
#: "embedded": SQLite, local files, an embedded broker. "production": refuses unsafe values, keeps nothing here.
MODE = text("TRACKER_MODE")
if MODE not in ("embedded", "production"):
    raise ImproperlyConfigured(f"TRACKER_MODE is embedded or production, not {MODE!r}.")
PRODUCTION = MODE == "production"
DEBUG = text("TRACKER_DEBUG", "") == "1"
#: The embedded product's folder. In production only scratch lies there: any machine can be thrown away.
DATA_DIR = Path(text("TRACKER_DATA_DIR", str(BASE_DIR / ".data")))
if not PRODUCTION:
    DATA_DIR.mkdir(parents=True, exist_ok=True)
