"""All settings; everything that differs between places comes from the environment (README.md lists the names)."""

import importlib.util
import os
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

from config import environment
from jobs.core import money

BASE_DIR = Path(__file__).resolve().parent.parent
ENV = os.environ

PRODUCTION = ENV.get("OFFICE_ENV", "embedded") == "production"
DEBUG = environment.flag(ENV, "DEBUG")
DEMO = environment.flag(ENV, "DEMO")

if PRODUCTION and (faults := environment.production_faults(ENV)):
    raise ImproperlyConfigured("The application does not start in production: " + " ".join(faults))

if faults := environment.text_faults(ENV):
    raise ImproperlyConfigured("The settings of text messages cannot be used: " + " ".join(faults))

# One installation keeps its books in one currency (ISO 4217); its decimals follow from it.
CURRENCY = ENV.get("CURRENCY", "USD")
try:
    money.use(CURRENCY)
except ValueError as fault:
    raise ImproperlyConfigured(f"CURRENCY: {fault}") from fault

VAR = Path(ENV.get("VAR_DIR", BASE_DIR / "var"))
# The demo's records and files lie in a place of their own: they never mix with real homes.
PLACE = "demo" if DEMO else "office"
FILES_DIR = Path(ENV.get("FILES_DIR", VAR / ("demo-files" if DEMO else "files")))
STATIC_ROOT = Path(ENV.get("STATIC_DIR", VAR / "static"))
for folder in (VAR, FILES_DIR, STATIC_ROOT):
    folder.mkdir(parents=True, exist_ok=True)

KEYS = environment.keys(ENV, VAR)
SECRET_KEY, *SECRET_KEY_FALLBACKS = KEYS["SECRET_KEY"].split(",")
FIELD_KEYS = KEYS["FIELD_KEYS"].split(",")
LINK_KEYS = KEYS["LINK_KEYS"].split(",")

BASE_URL = ENV.get("BASE_URL", "http://127.0.0.1:8000").rstrip("/")
# The machine itself asks after its health by 127.0.0.1; links in messages are made from BASE_URL, never from the host that was asked.
LOCAL_HOSTS = ["127.0.0.1", "localhost", "[::1]"]
ALLOWED_HOSTS = [*(environment.words(ENV, "ALLOWED_HOSTS") or ["testserver"]), *LOCAL_HOSTS]
CSRF_TRUSTED_ORIGINS = [BASE_URL] if BASE_URL.startswith("https://") else []

DATABASES = {"default": environment.database(ENV.get("DATABASE_URL") or f"sqlite:///{VAR / f'{PLACE}.sqlite3'}")}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_filters",
    "django_htmx",
    "axes",
    "jobs.core",
    "jobs.notices",
    "utilities",
    "billing",
    "jobs.appointments",
    "jobs.pages",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "jobs.core.middleware.policy",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

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
                "jobs.pages.frame.frame",
            ],
        },
    }
]

AUTH_USER_MODEL = "core.User"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign_in"
# A lock-out by address and name together: a stranger who tries a colleague's name must not lock the colleague out elsewhere.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "core/locked_out.html"
AXES_USERNAME_FORM_FIELD = "username"
AXES_VERBOSE = False

LANGUAGE_CODE = "en-us"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"


def _package_folder(name: str) -> str:
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        raise ImproperlyConfigured(f"The package {name} is not installed; it carries the fonts.")
    return str(Path(spec.origin).parent / "files")


STATIC_URL = "/static/"
STATICFILES_DIRS = [("fonts/sans", _package_folder("font_source_sans_pro")), ("fonts/serif", _package_folder("font_source_serif_pro"))]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = not PRODUCTION
WHITENOISE_AUTOREFRESH = DEBUG

DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 4000

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 12 * 3600
CSRF_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "jobs.pages.errors.stale_form"
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
if PRODUCTION:
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
    SECURE_SSL_REDIRECT = not environment.flag(ENV, "NO_SSL_REDIRECT")
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = 31_536_000
    # The contractor's other hosts are not ours to promise for.
    SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
    SECURE_REDIRECT_EXEMPT = [r"^health/"]

# Mail. Without an address for SMTP, and always in the demo, messages are captured and shown on a page.
DEMO_PASSWORD = "larch-and-lantern"

EMAIL = environment.email(ENV["EMAIL_URL"]) if ENV.get("EMAIL_URL") else None
EMAIL_FROM = ENV.get("EMAIL_FROM", "office@larchlantern.example")
CAPTURE_MAIL = DEMO or EMAIL is None

# Text messages, likewise.
TEXT_GATEWAY = environment.text_gateway(ENV)
CAPTURE_TEXTS = DEMO or TEXT_GATEWAY is None
# What the gateway and the mail service sign their webhooks with; several, separated by commas, while they change. Without one: closed.
HOOK_SECRETS = {
    "texts": [] if DEMO else environment.words(ENV, "TEXT_HOOK_SECRETS"),
    "mail": [] if DEMO else environment.words(ENV, "MAIL_HOOK_SECRETS"),
}
HOOK_FIELDS = {name: environment.hook_fields(ENV, f"{word}_HOOK_FIELDS") for name, word in (("texts", "TEXT"), ("mail", "MAIL"))}

# Work. The embedded default keeps its broker in the process; the row is the queue either way.
CELERY_BROKER_URL = ENV.get("REDIS_URL") or "memory://localhost/"
CELERY_BROKER_TRANSPORT_OPTIONS = {"health_check_interval": 30} if ENV.get("REDIS_URL") else {"polling_interval": 0.2}
CELERY_TASK_IGNORE_RESULT = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_SOFT_TIME_LIMIT = 240
CELERY_TASK_TIME_LIMIT = 300
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["console"], "level": ENV.get("LOG_LEVEL", "WARNING")},
}
