"""Who uses the embedded server: every process of ours holds a shared lock; the last to end stops it.

The kernel lets go of a lock when its process ends in whatever way, so nothing is counted and nothing can be
counted wrong. A second lock is held only while a server is being started or stopped.
"""

import atexit
import contextlib
import fcntl
import os
import signal
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

from clubsite.embedded import cluster
from clubsite.embedded.address import check_own_server, own_server_url
from clubsite.embedded.errors import disk_sentence
from clubsite.embedded.folders import data_folder, make_folder
from clubsite.embedded.postmaster import running_postmaster

_held: tuple[int, Path, int] | None = None  # our process, the data folder, the descriptor of the shared lock


def attach() -> None:
    """Makes the database answer: starts the embedded server or joins it, and lets go of it at exit."""
    global _held
    if url := own_server_url():
        check_own_server(url)
        return
    data = data_folder()
    if _held and _held[:2] == (os.getpid(), data):
        return
    make_folder(data.parent)
    with start_lock(data):
        users = open_lock(data, "users")
        fcntl.flock(users, fcntl.LOCK_SH)
        _held = (os.getpid(), data, users)
        atexit.register(release)
        end_politely_when_told()
        cluster.ensure_running(data)


def release() -> None:
    """Lets go of the server, and stops it when nobody else holds it."""
    global _held
    if not _held or _held[0] != os.getpid():
        return  # never attached, or a forked copy of a process that did
    _, data, users = _held
    _held = None
    with start_lock(data), contextlib.suppress(BlockingIOError):
        fcntl.flock(users, fcntl.LOCK_EX | fcntl.LOCK_NB)
        cluster.stop(data)
    os.close(users)


def revive_database() -> None:
    """Starts the embedded server again when it has died under a process that holds it."""
    if not _held or _held[0] != os.getpid() or running_postmaster(_held[1]):
        return
    with start_lock(_held[1]):
        cluster.ensure_running(_held[1])


@contextlib.contextmanager
def start_lock(data: Path) -> Iterator[None]:
    """Held while a server is being started or stopped; a stranger waits for its turn."""
    lock = open_lock(data, "start")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        os.close(lock)


def open_lock(data: Path, name: str) -> int:
    try:
        return os.open(data.with_name(f"{data.name}.{name}.lock"), os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise disk_sentence(error, data.parent) from None


def end_politely_when_told() -> None:
    """Lets SIGTERM and SIGHUP end the process through its exit functions, unless somebody took them."""
    if threading.current_thread() is not threading.main_thread():
        return
    for number in (signal.SIGTERM, signal.SIGHUP):
        if signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, lambda number, _frame: sys.exit(128 + number))
