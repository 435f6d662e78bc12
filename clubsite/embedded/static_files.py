"""The site's style sheets, scripts and pictures, collected once for each state of their sources."""

import hashlib
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command


def collect_static_files() -> None:
    """Collects and compresses the static files when any of them has changed since the last time."""
    folder = Path(settings.STATIC_ROOT)
    stamp = folder.with_name(f"{folder.name}.collected")  # not inside, where it would be served
    now = fingerprint()
    if folder.is_dir() and stamp.is_file() and stamp.read_text() == now:
        return
    stamp.unlink(missing_ok=True)
    call_command("collectstatic", interactive=False, verbosity=0)
    stamp.write_text(now)


def fingerprint() -> str:
    """Changes with the name, size or time of any source file."""
    seen = hashlib.sha256(repr(settings.STORAGES["staticfiles"]).encode())
    for finder in get_finders():
        for path, storage in finder.list([]):
            details = Path(storage.path(path)).stat()
            seen.update(f"{path}\0{details.st_size}\0{details.st_mtime_ns}\n".encode())
    return seen.hexdigest()
