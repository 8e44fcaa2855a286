"""Settings. Nothing needs setting to try it: SQLite and a media folder under ``.data``.

For real use everything comes from the environment; README.md lists the variables.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(os.environ.get("BIBLE_DATA", BASE_DIR / ".data"))
PRODUCTION = os.environ.get("BIBLE_PRODUCTION", "") == "1"
DEBUG = os.environ.get("BIBLE_DEBUG", "") == "1" and not PRODUCTION


SHORTEST_SECRET = 40
"""Letters of a key that somebody made: 240 bits as ``secrets.token_urlsafe`` writes them."""

PLACEHOLDERS = ("python", "change", "django-insecure-", "secret", "your", "<")
"""How keys begin that stand in examples."""


def _own(path: str, flags: int) -> int:
    """Open a file that nobody else may read, from its first byte on."""
    return os.open(path, flags, 0o600)


def _secret_key() -> str:
    """From the environment; else one made once and kept with the data, so that sessions outlive a restart."""
    if key := os.environ.get("SECRET_KEY"):
        if PRODUCTION and (
            len(key) < SHORTEST_SECRET or key.lower().startswith(PLACEHOLDERS) or len(key.split()) > 1
        ):
            raise ImproperlyConfigured(
                "SECRET_KEY is an example's or too short. One is made by "
                "python3 -c 'import secrets; print(secrets.token_urlsafe(64))'"
            )
        return key
    if PRODUCTION:
        raise ImproperlyConfigured("SECRET_KEY must be set in the environment in production.")
    path = DATA_DIR / "secret_key"
    with contextlib.suppress(FileExistsError):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with open(path, "x", encoding="utf-8", opener=_own) as file:
            file.write(get_random_secret_key())
    return path.read_text(encoding="utf-8").strip()


def _listed(variable: str, default: str = "") -> list[str]:
    return [item.strip() for item in os.environ.get(variable, default).split(",") if item.strip()]


SECRET_KEY = _secret_key()
ALLOWED_HOSTS = _listed("ALLOWED_HOSTS", "" if PRODUCTION else "localhost,127.0.0.1,[::1]")
CSRF_TRUSTED_ORIGINS = _listed("CSRF_TRUSTED_ORIGINS")
# How many web servers of ours stand in front, each adding to X-Forwarded-For: whom to count as one stranger.
PROXIES = int(os.environ.get("BIBLE_PROXIES", "1" if PRODUCTION else "0"))

INSTALLED_APPS = [
    # Ours come first so that ``check SERIES`` can stand in front of Django's own ``check``.
    "guides.apps.GuidesConfig",
    "bible.apps.BibleConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "csp",
    "django_tasks",
    "django_tasks_db",
]

MIDDLEWARE = [
    "bible.web.logs.Requests",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "bible.web.middleware.Powers",
    "bible.web.middleware.Private",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "bible.web.directions.Directions",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    # Every page needs a sign-in unless it says otherwise: a forgotten decorator then shuts a door, not opens one.
    "bible.web.middleware.SignInFirst",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "bible.web.middleware.LimitsMiddleware",
    "bible.web.middleware.OnlySent",
]

ROOT_URLCONF = "bible.urls"
WSGI_APPLICATION = "bible.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": False,
        "OPTIONS": {
            "loaders": [("django.template.loaders.cached.Loader", ["bible.web.loading.FlatLoader"])]
            if not DEBUG
            else ["django.template.loaders.filesystem.Loader"],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "bible.web.preferences.preferences",
            ],
            "builtins": ["bible.templatetags.colour", "guides.templatetags.next_steps"],
        },
    },
]

SQLITE_OPTIONS = {
    # IMMEDIATE takes the write lock when a transaction begins: two writers then queue up instead of one of
    # them failing half way, when its read lock cannot be raised to a write lock.
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA cache_size=-32000;",
}
DATABASES = {
    "default": dj_database_url.config(
        default=f"sqlite:///{DATA_DIR / 'bible.sqlite3'}", conn_max_age=60, conn_health_checks=True
    )
}
if "sqlite" in str(DATABASES["default"]["ENGINE"]):
    DATABASES["default"]["OPTIONS"] = SQLITE_OPTIONS
    DATA_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
    # What SQLite makes beside it takes over its mode (sqlite.org/tempfiles.html does not say so; its os_unix.c does).
    with contextlib.suppress(FileExistsError, OSError), open(str(DATABASES["default"]["NAME"]), "xb", opener=_own):
        pass
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# E-mail is sent where a server is named; without one nothing is sent, and the page of choices says so.
EMAIL_HOST = os.environ.get("BIBLE_EMAIL_HOST", "")
EMAIL_PORT = int(os.environ.get("BIBLE_EMAIL_PORT", "587"))
EMAIL_HOST_USER = os.environ.get("BIBLE_EMAIL_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("BIBLE_EMAIL_PASSWORD", "")
EMAIL_USE_SSL = EMAIL_PORT == 465
EMAIL_USE_TLS = EMAIL_PORT == 587
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = os.environ.get("BIBLE_EMAIL_FROM", f"bible@{next(iter(ALLOWED_HOSTS), 'localhost')}")
SENDS_MAIL = bool(EMAIL_HOST)
# “console”: letters are written where the worker's log goes, to try them out.
_MAIL_BY = {"": "dummy", "console": "console"}.get(EMAIL_HOST, "smtp")
EMAIL_BACKEND = f"django.core.mail.backends.{_MAIL_BY}.EmailBackend"
# What links in letters begin with: nobody's request is at hand when they are written.
PUBLIC_URL = os.environ.get("BIBLE_URL") or (
    f"https://{next(iter(ALLOWED_HOSTS), 'localhost')}" if PRODUCTION else "http://localhost:8000"
)

# Work in the background waits in the database for ``manage.py worker``; the development server starts one itself.
TASKS = {"default": {"BACKEND": "bible.tasks.backend.Backend"}}

MEDIA_ROOT = DATA_DIR / "media"
# Empty: Django streams the pictures itself. Set to an internal location to let the web server in front do it.
SENDFILE_PREFIX = os.environ.get("BIBLE_SENDFILE_PREFIX", "")
STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
if DATA_DIR.is_dir():
    STATIC_ROOT.mkdir(exist_ok=True)  # before files are collected too: who serves them warns of a missing folder
STATICFILES_DIRS = [BASE_DIR / "static"]
# Pictures in a bucket instead of a folder, so that any number of machines share them. boto3 finds the key itself:
# AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, or what the machine it runs on is allowed.
MEDIA_BUCKET = os.environ.get("BIBLE_MEDIA_S3_BUCKET", "")
if MEDIA_BUCKET and SENDFILE_PREFIX:
    raise ImproperlyConfigured(
        "BIBLE_SENDFILE_PREFIX sends pictures from a folder; with BIBLE_MEDIA_S3_BUCKET there is none."
    )
BUCKET = {
    "BACKEND": "storages.backends.s3.S3Storage",
    "OPTIONS": {
        "bucket_name": MEDIA_BUCKET,
        "endpoint_url": os.environ.get("BIBLE_MEDIA_S3_ENDPOINT") or None,
        "region_name": os.environ.get("BIBLE_MEDIA_S3_REGION") or None,
        # A name that is taken gets another one, as in a folder: nothing stored is ever written over.
        "file_overwrite": False,
        # Everything the bucket holds stays shut; pictures go out through views that ask who is there.
        "default_acl": None,
        # Stores of other makers know a bucket by its path; names before the host need certificates of their own.
        "addressing_style": "path" if os.environ.get("BIBLE_MEDIA_S3_ENDPOINT") else None,
    },
}
STORAGES = {
    "default": BUCKET if MEDIA_BUCKET else {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = not PRODUCTION
FILE_UPLOAD_MAX_MEMORY_SIZE = 2**20
# Room for one page guide of 60 MB and the form around it; Django itself bounds only the rest of a request.
DATA_UPLOAD_MAX_MEMORY_SIZE = 2**20 * 4

LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "login"
PASSWORD_RESET_TIMEOUT = 24 * 3600  # letters may be slow, and a link that lies about is a way in
# Length is what helps against guessing, rules about kinds of letters do not (NIST SP 800-63B, section 5.1.1.2).
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}", "OPTIONS": options}
    for name, options in (
        ("UserAttributeSimilarityValidator", {}),
        ("MinimumLengthValidator", {"min_length": 12}),
        ("CommonPasswordValidator", {}),
    )
]

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_I18N = False
USE_TZ = True

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SESSION_ENGINE = "bible.accounts.sessions"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = PRODUCTION
if PRODUCTION:
    SECURE_SSL_REDIRECT = True
    SECURE_REDIRECT_EXEMPT = ["^healthz/"]  # asked from inside, past the web server that has the certificate
    SECURE_HSTS_SECONDS = 365 * 24 * 3600
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    # Browsers' built-in lists take a domain in for years and for all its subdomains: whoever owns it decides.
    SECURE_HSTS_PRELOAD = os.environ.get("BIBLE_HSTS_PRELOAD", "") == "1"
    SILENCED_SYSTEM_CHECKS = ["security.W021"]  # it asks for the above
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "plain": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"},
        "without-people": {"()": "bible.web.logs.WithoutPeople"},
    },
    "handlers": {
        "console": {"class": "logging.StreamHandler", "formatter": "without-people" if PRODUCTION else "plain"}
    },
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        "bible": {"level": "INFO"},
        "guides": {"level": "INFO"},
        "django_tasks": {"level": "WARNING"},
        # The development server writes a line a request itself.
        "bible.requests": {"level": "INFO" if PRODUCTION else "WARNING"},
        # In production a refused request has its line above already; a fault of ours is told with where it happened.
        "django.request": {"level": "ERROR" if PRODUCTION else "WARNING"},
    },
}
