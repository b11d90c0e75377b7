"""The settings of Lotward; what differs between places comes from the environment."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from django.utils.translation import gettext_lazy as _

from lotward import env

env.refuse_unknown(os.environ)

VERSION = "0.1.0"

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = env.data_dir(os.environ, "LOTWARD_DATA_DIR", default=BASE_DIR / "data")

DEBUG = env.switch(os.environ, "LOTWARD_DEBUG")
TLS = env.switch(os.environ, "LOTWARD_TLS")
PORT = env.port(os.environ, "LOTWARD_PORT", default=8000)
BACKUP_HOURS = env.whole(
    os.environ, "LOTWARD_BACKUP_HOURS", default=26, allowed=range(1, 10_000)
)
CLOCK_GAP_DAYS = env.whole(
    os.environ, "LOTWARD_CLOCK_GAP_DAYS", default=7, allowed=range(10_000)
)
DISK_WARN_PERCENT = env.whole(
    os.environ, "LOTWARD_DISK_WARN_PERCENT", default=10, allowed=range(100)
)
PROXY = env.networks(os.environ, "LOTWARD_PROXY")
ALLOWED_HOSTS = env.hosts(os.environ, "LOTWARD_HOSTS")
CONSIGNEE_URL = env.outside(os.environ, "LOTWARD_CONSIGNEE_URL", names=ALLOWED_HOSTS)
globals().update(
    env.email(os.environ, "LOTWARD_EMAIL_URL", sender="LOTWARD_EMAIL_FROM")
)
EMAIL_TIMEOUT = 10
PRINTER_CA_FILE = env.certificates(os.environ, "LOTWARD_PRINTER_CA")
SECRET_KEY = env.secret(os.environ, "LOTWARD_SECRET_KEY", folder=DATA_DIR)
DATABASES: dict[str, dict[str, Any]] = {
    "default": env.database(os.environ, "LOTWARD_DATABASE_URL", folder=DATA_DIR)
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Some of what draws the fields of forms is in templates/django/forms.
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "axes",
    "django_htmx",
    "lotward.apps.LotwardConfig",
    "kitting.apps.KittingConfig",
    "dispatch.apps.DispatchConfig",
]

MIDDLEWARE = [
    "lotward.middleware.ProxyMiddleware",
    "lotward.middleware.ContentSecurityPolicyMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    # Inside of static files, which are compressed already, and outside of whatever
    # writes a page. It hides the length of what it compresses, and forms mask their
    # tokens: see BREACH in Django's own pages about it.
    "django.middleware.gzip.GZipMiddleware",
    "lotward.middleware.NoStoreMiddleware",
    "lotward.middleware.LargestRequestMiddleware",
    "kitting.people.middleware.BadgeMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "lotward.middleware.WorkshopTimeMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
    "lotward.middleware.NoNullMiddleware",
]

ROOT_URLCONF = "lotward.urls"
WSGI_APPLICATION = "lotward.wsgi.application"

TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "lotward.context.workshop",
            ],
            # Tags of rooms, which are no applications of their own.
            "libraries": {
                "addresses": "dispatch.consignees.tags",
                "amounts": "kitting.web.tags.amounts",
                "curves": "kitting.checking.tags.curves",
                "doses": "kitting.disinfection.tags",
                "drawing": "kitting.web.tags.drawing",
                "figures": "dispatch.figures.tags",
                "inspection": "kitting.checking.tags.inspection",
                "journal": "dispatch.journal.tags",
                "look": "kitting.web.tags.look",
                "prints": "kitting.printing.tags.prints",
                "recall": "dispatch.recall.tags",
                "stocks": "kitting.printing.tags.stocks",
            },
        },
    },
]

# Static files: hashed names, served by the application itself.
STATIC_URL = "/static/"
STATIC_ROOT = BASE_DIR / "staticfiles"
STATIC_ROOT.mkdir(exist_ok=True)  # WhiteNoise warns of a missing folder.
STATICFILES_DIRS = [BASE_DIR / "static"]
STORAGES: dict[str, dict[str, Any]] = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": (
            "django.contrib.staticfiles.storage.StaticFilesStorage"
            if DEBUG
            else "whitenoise.storage.CompressedManifestStaticFilesStorage"
        ),
    },
}

# Time and language. The workshop's own time zone is a row of the database.
USE_TZ = True
TIME_ZONE = "UTC"
USE_I18N = True
LANGUAGE_CODE = "en-gb"
LANGUAGES = [("en-gb", _("British English"))]
LOCALE_PATHS = [BASE_DIR / "locale"]

# Who is on.
AUTH_USER_MODEL = "kitting.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "lotward.rights.RightsBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"kitting.people.passwords.{name}"}
    for name in ("NotTheName", "LongEnough", "NotCommon", "NotDigitsAlone")
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"

# Lockout by user and address together: a whole workshop shares one address, and one
# address alone must not lock out the others.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 5
AXES_HANDLER = "lotward.guessing.Handler"
AXES_COOLOFF_TIME = 0.25  # hours
# What is tried while it is locked is written nowhere: a stranger would fill the disk.
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_CALLABLE = "lotward.views.locked_out"
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

# Cookies and sessions. A shift is shorter than 12 hours.
SESSION_ENGINE = "lotward.sessions"
SESSION_COOKIE_AGE = 12 * 60 * 60
SESSION_COOKIE_NAME = "lotward_session"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = TLS
CSRF_COOKIE_NAME = "lotward_csrf"
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SECURE = TLS
CSRF_FAILURE_VIEW = "lotward.views.csrf_failure"

# Headers. gunicorn takes X-Forwarded-Proto from a front server on this machine only.
SECURE_CSP: dict[str, list[str]] = {
    "default-src": ["'self'"],
    "base-uri": ["'none'"],
    "object-src": ["'none'"],
    "frame-ancestors": ["'none'"],
    "form-action": ["'self'"],
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SECURE_SSL_REDIRECT = TLS
SECURE_REDIRECT_EXEMPT = [r"^health/$"]
SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60 if TLS else 0
X_FRAME_OPTIONS = "DENY"

SILENCED_SYSTEM_CHECKS = [
    "security.W005",  # HSTS for subdomains: other hosts of the workshop are not ours.
    "security.W021",  # HSTS preload: a host on a workshop's own network has no use for it.
]

# A table of lots may be pasted, a database not; files are checked by their readers.
LARGEST_REQUEST = 6 * 1024 * 1024  # bytes, a file and all around it, packed or not
# The largest is the answer of a consignee to a shipment of a thousand boxes.
LARGEST_OF_STRANGERS = 256 * 1024  # bytes, of whoever is not signed in
DATA_UPLOAD_MAX_MEMORY_SIZE = LARGEST_REQUEST
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000
FILE_UPLOAD_PERMISSIONS = 0o600

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {
            "()": "lotward.logs.LineFormatter",
            "fmt": "{asctime} {levelname} {name} {message}",
            "style": "{",
        }
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    # Django would give these handlers of their own; every line goes by our formatter.
    "loggers": {
        "django": {"level": "WARNING"},
        "django.server": {"handlers": ["console"], "level": "INFO", "propagate": False},
    },
}
