import os
import shutil
import subprocess
import sys
import tempfile
from functools import cache

import pytest
from playwright._impl._driver import compute_driver_executable

from clubsite import embedded

from .cast import make_cast

CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
CHROMIUM = next(filter(None, map(shutil.which, CHROMIUM_NAMES)), None)
# Playwright keeps an event loop in the main thread, and Django takes every query there for a mistake.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")


def pytest_configure(config):
    """Attaches the embedded PostgreSQL, also for a bare `pytest`, and sets what tests need otherwise than a site."""
    from django.conf import settings

    try:
        embedded.attach()
    except embedded.SetupError as error:
        pytest.exit(str(error), returncode=1)
    config.argentry_files = tempfile.mkdtemp(prefix="argentry-tests-")
    settings.MEDIA_ROOT = config.argentry_files
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},  # nothing is collected
    }
    settings.WHITENOISE_AUTOREFRESH = True
    settings.DATABASES["default"].setdefault("OPTIONS", {})["options"] = "-c statement_timeout=5min"  # fail, never hang
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def pytest_unconfigure(config):
    if files := getattr(config, "argentry_files", None):
        shutil.rmtree(files, ignore_errors=True)


def pytest_runtest_setup(item):
    """A browser journey without a browser is skipped at a desk and fails where ARGENTRY_REQUIRE_BROWSER is 1."""
    if item.get_closest_marker("browser") and (reason := why_no_browser()):
        if os.environ.get("ARGENTRY_REQUIRE_BROWSER") == "1":
            pytest.fail(reason, pytrace=False)
        pytest.skip(reason)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    """As ever; at the end, sessions that a browser's last request still holds are ended, or the database cannot go."""
    yield
    from django.db import connection

    with django_db_blocker.unblock(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
        )


@cache
def why_no_browser():
    """What keeps the journeys from running here, or an empty string."""
    if CHROMIUM is None:
        return f"no browser on PATH (looked for {', '.join(CHROMIUM_NAMES)})"
    try:
        program, _ = compute_driver_executable()
        told = subprocess.run([program, "--version"], capture_output=True, text=True, check=False)
    except OSError as error:
        return f"the browser's driver does not start: {error}"
    if told.returncode != 0:
        return f"the browser's driver does not start (on Debian: apt install libatomic1): {told.stderr.strip()}"
    return ""


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    """The system's own Chromium, quiet on the network; root may not use its sandbox."""
    quiet = [
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-dev-shm-usage",
        "--disable-sync",
        "--no-first-run",
    ]
    if sys.platform == "linux" and os.getuid() == 0:
        quiet.append("--no-sandbox")
    return {**browser_type_launch_args, "executable_path": CHROMIUM, "args": quiet}


@pytest.fixture
def cast(db):
    """Everybody and their rabbits, as tests/cast.py describes them."""
    return make_cast()
