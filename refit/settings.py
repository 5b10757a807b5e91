"""Settings of the program. What differs between installations comes from four variables (see README)."""

import os
import tempfile
from datetime import timedelta
from pathlib import Path

import dj_database_url
from csp.constants import SELF

from refit import environment

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = environment.data_folder(BASE_DIR)
SECRET_KEY = environment.secret_key(DATA_DIR)
REFIT_ADDRESS = environment.label_address()
PAPERS_DIR = DATA_DIR / "papers"

DEBUG = False
# Which hosts are answered is decided by HostsMiddleware: private addresses and the boat's own names.
ALLOWED_HOSTS = ["*"]

INSTALLED_APPS = [
    "refit.pages",
    "refit.carry",
    "refit.voyage",
    "refit.buying",
    "refit.stores",
    "refit.work",
    "refit.boat",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",  # its templates, so that ours may stand before them
    "django_filters",
    "django_htmx",
    "axes",
    "csp",
]

MIDDLEWARE = [
    "refit.pages.hosts.HostsMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "refit.urls"
WSGI_APPLICATION = "refit.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "refit.pages.context.boat",
            ],
            "builtins": ["refit.pages.templatetags.refit"],
        },
    }
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

# One database. SQLite settings were measured: without IMMEDIATE, racing writers die instead of waiting.
DATABASES = {
    "default": dj_database_url.parse(
        os.environ.get("DATABASE_URL", "").strip() or f"sqlite:///{DATA_DIR / 'refit.sqlite3'}"
    )
}
DATABASES["default"]["CONN_MAX_AGE"] = None
DATABASES["default"]["ATOMIC_REQUESTS"] = False
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
    }
    # A file, not memory: shared memory fails threaded writers. One for each process, so that runs never meet.
    DATABASES["default"]["TEST"] = {
        "NAME": os.path.join(tempfile.gettempdir(), f"refit-tests-{os.getpid()}.sqlite3")
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "/accounts/sign-in/"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/accounts/sign-in/"

# The lock counts a name together with an address, and ends by itself.
AXES_FAILURE_LIMIT = 6
AXES_COOLOFF_TIME = timedelta(minutes=10)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "accounts/locked.html"
AXES_VERBOSE = False

_suffix = environment.cookie_suffix(DATA_DIR)
SESSION_COOKIE_NAME = f"refit_session_{_suffix}"
CSRF_COOKIE_NAME = f"refit_csrf_{_suffix}"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 120  # a season: dirty hands do not type passwords
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
# Plain HTTP on a boat's own network has no certificate; each of these would lock the owner out of the boat.
SILENCED_SYSTEM_CHECKS = [
    "security.W004",  # HSTS: would move printed labels to another scheme on the same port
    "security.W008",  # redirect to TLS: there is none
    "security.W012",  # a session cookie for TLS only would never be sent
    "security.W016",  # nor would the form cookie
]

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "form-action": [SELF],
        "frame-ancestors": ["'none'"],
    }
}

DATA_UPLOAD_MAX_MEMORY_SIZE = 3 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
DATA_UPLOAD_MAX_NUMBER_FILES = 100  # a page that takes fewer says so itself, kindly
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
FILE_UPLOAD_PERMISSIONS = 0o600

STATIC_URL = "/static/"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
MEDIA_ROOT = PAPERS_DIR
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"  # each boat's own zone is set for each request

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "loggers": {
        "django": {"handlers": ["console"], "level": "WARNING", "propagate": False},
        "axes": {"handlers": ["console"], "level": "ERROR", "propagate": False},
    },
}
