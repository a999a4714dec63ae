"""Django's settings: one folder holds everything a build day writes, and nothing is fetched from elsewhere.

What differs from one start to the next comes through the environment, put there by `handsel serve`:
HANDSEL_DATA (the folder), HANDSEL_SOLO, HANDSEL_HTTPS, HANDSEL_DATABASE (a PostgreSQL service name).
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from handsel.bench.secret import secret_key

BENCH = Path(__file__).parent
DATA = Path(os.environ.get("HANDSEL_DATA") or Path.home() / "handsel").absolute()
DATA.mkdir(parents=True, exist_ok=True, mode=0o700)
PHOTOS = DATA / "photos"

SOLO = os.environ.get("HANDSEL_SOLO") == "1"  # one maker, this computer only, no sign-in
HTTPS = os.environ.get("HANDSEL_HTTPS") == "1"
DEMO_MARK = DATA / "demo-day"  # its presence says that everything in this folder is invented
DEMO = DEMO_MARK.exists()

SECRET_KEY = secret_key(DATA)
DEBUG = False
# Any name passes Django's own check; `hosts.HostGuard` does it instead, since a hall's address changes
# with its router and a name set by the lead must count without a new start.
ALLOWED_HOSTS = ["*"]
NAMES: tuple[str, ...] = ()  # it answers to these besides; the tests call it by one

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "handsel.bench.jobs",
    "handsel.bench.people",
    "handsel.bench.days",
    "handsel.bench.hands",
    "handsel.bench.looking",
    "handsel.bench.work",
    "handsel.bench.causes",
    "handsel.bench.planning",
    "handsel.bench.deciding",
    "handsel.bench.fitting",
    "handsel.bench.photos",
    "handsel.bench.measuring",
    "handsel.bench.papers",
    "handsel.bench.records",
    "handsel.bench.ready",
]
MIDDLEWARE = [
    "handsel.bench.headers.SecureHeaders",
    "handsel.bench.hosts.HostGuard",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "handsel.bench.plain_errors.PlainErrors",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "handsel.bench.people.gate.Gate",
    "django_htmx.middleware.HtmxMiddleware",
]
ROOT_URLCONF = "handsel.bench.urls"
WSGI_APPLICATION = "handsel.bench.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BENCH / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "handsel.bench.people.context.signed_in",
            ],
            "builtins": ["django.templatetags.static"],
        },
    }
]

# Reading and then writing in one transaction must not lose to a second writer, so every transaction takes
# the write lock at its start; a writer waits for another up to the timeout. FULL: a commit that was
# acknowledged is on the disk, whatever happens to the power.
DATABASES: dict[str, dict[str, Any]] = {
    "default": {
        "ENGINE": "handsel.bench.turns",  # Django's own, with writers in a line
        "NAME": DATA / "handsel.sqlite3",
        "CONN_MAX_AGE": None,
        "OPTIONS": {
            "timeout": 10,
            "transaction_mode": "IMMEDIATE",
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
        },
    }
}
if os.environ.get("HANDSEL_DATABASE"):
    DATABASES["default"] = {
        "ENGINE": "django.db.backends.postgresql",
        "OPTIONS": {"service": os.environ["HANDSEL_DATABASE"]},
        "CONN_MAX_AGE": None,
    }
# Counts of wrong tries and the like; the default size would drop them under a flood of made-up addresses.
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.locmem.LocMemCache",
        "OPTIONS": {"MAX_ENTRIES": 20_000},
    }
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "people.Person"
AUTHENTICATION_BACKENDS = ["django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS: list[dict[str, Any]] = []  # passphrases are made by the program, never chosen
LOGIN_URL = "/sign-in/"

# Who a cookie stands for is asked with every tap: remembered beside the record. One process serves, so a sign-out
# holds at once; what ends a sign-in otherwise (a new secret, a right taken away) is on the person, read each time.
SESSION_ENGINE = "django.contrib.sessions.backends.cached_db"
SESSION_COOKIE_NAME = "handsel"
SESSION_COOKIE_AGE = 14 * 24 * 3600  # a build day and its week after
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_NAME = "handsel-form"
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SECURE = HTTPS
CSRF_COOKIE_AGE = SESSION_COOKIE_AGE
CSRF_FAILURE_VIEW = "handsel.bench.plain_errors.form_too_old"

# Far above any form of ours; photographs have a limit of their own.
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2_000
DATA_UPLOAD_MAX_NUMBER_FILES = 10
FILE_UPLOAD_MAX_MEMORY_SIZE = 1_000_000
FILE_UPLOAD_PERMISSIONS = 0o600

STATIC_URL = "/static/"
STATIC_ROOT = None  # nothing is collected: files are served from where the packages have them
STATICFILES_DIRS = [BENCH / "static"]
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

LANGUAGE_CODE = "en-gb"
USE_TZ = True
TIME_ZONE = os.environ.get("HANDSEL_TIME_ZONE", "UTC")  # records are in UTC; this is for what people read
USE_I18N = True
APPEND_SLASH = True

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "%(asctime)s %(levelname)s %(name)s: %(message)s"}},
    "handlers": {
        "stderr": {"class": "logging.StreamHandler", "formatter": "plain"},
    },
    "loggers": {
        "django": {"handlers": ["stderr"], "level": "ERROR", "propagate": False},
        "handsel": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
    },
}
SILENCED_SYSTEM_CHECKS: list[str] = []
