"""Starts the site's programs as a person would, on a data folder of their own, and looks at what is left of them."""

import os
import subprocess
import sys
import time
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent


def own_environment(var, **more):
    """The environment for a process on that data folder, free of what the tests themselves run with."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("ARGENTRY_", "PYTEST", "DJANGO_")) and name != "DATABASE_URL"
    }
    return {**kept, "ARGENTRY_VAR": str(var), "PYTHONUNBUFFERED": "1", **more}


def python(code, var, **more):
    """A Python process of the project that runs `code`; its output can be read line by line."""
    return subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=PROJECT,
        env=own_environment(var, **more),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def manage(*arguments, var, **more):
    """`manage.py` with those arguments, run by this Python."""
    return subprocess.Popen(
        [sys.executable, "manage.py", *map(str, arguments)],
        cwd=PROJECT,
        env=own_environment(var, **more),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def living(var):
    """Command lines by pid of the processes that were started for that data folder; zombies do not live."""
    wanted = b"ARGENTRY_VAR=" + os.fsencode(var) + b"\0"
    found = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if wanted in folder.joinpath("environ").read_bytes() + b"\0":
                found[int(folder.name)] = folder.joinpath("cmdline").read_bytes().replace(b"\0", b" ").decode()
        except OSError:
            continue
    return {pid: line for pid, line in found.items() if line}


def nothing_left(var, seconds=10):
    """Whether every process of that data folder is gone within the time; a second look is for slow machines."""
    give_up = time.monotonic() + seconds
    while living(var):
        if time.monotonic() > give_up:
            return False
        time.sleep(0.1)
    return True
