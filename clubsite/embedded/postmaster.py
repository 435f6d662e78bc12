"""Which PostgreSQL server runs on a data folder: read from its lock file and the process table."""

import os
import subprocess
from dataclasses import dataclass
from pathlib import Path

PROC = Path("/proc")


@dataclass(frozen=True)
class Postmaster:
    """The main process of a server, as its lock file names it."""

    pid: int
    socket_folder: Path


def lock_file(data: Path) -> Path:
    return data / "postmaster.pid"


def running_postmaster(data: Path) -> Postmaster | None:
    """The server that really runs on this data folder; None for no lock file or a left-over one."""
    try:
        lines = lock_file(data).read_text(errors="replace").splitlines()
        pid = int(lines[0])
    except (OSError, ValueError, IndexError):
        return None
    if not is_postgres_on(pid, data):
        return None
    return Postmaster(pid, Path(lines[4]) if len(lines) > 4 and lines[4] else Path())


def is_postgres_on(pid: int, data: Path) -> bool:
    """Whether that process lives, is no zombie, and is a PostgreSQL server of this very folder."""
    if pid <= 0:
        return False
    if not PROC.joinpath("self/stat").exists():
        return named_postgres_by_ps(pid)
    process = PROC / str(pid)
    try:
        state = process.joinpath("stat").read_text(errors="replace").rsplit(")", 1)[1].split()[0]
        name = process.joinpath("comm").read_text(errors="replace").strip()
    except (OSError, IndexError):
        return False
    if state in "ZX" or name != "postgres":
        return False
    try:
        return os.path.samefile(process / "cwd", data)
    except PermissionError:  # another account's process: its name has to do
        return True
    except OSError:
        return False


def named_postgres_by_ps(pid: int) -> bool:
    """The same question where there is no /proc, as on macOS."""
    told = subprocess.run(
        ["/bin/ps", "-o", "stat=,comm=", "-p", str(pid)], capture_output=True, text=True, check=False
    ).stdout.split(None, 1)
    return len(told) == 2 and not told[0].startswith("Z") and os.path.basename(told[1].strip()) == "postgres"


def disown_stale_lock(data: Path) -> None:
    """Makes a left-over lock file harmless without removing it.

    PostgreSQL takes a lock file that names its own parent for a left-over, and then still makes sure by the
    shared memory noted in it that no process of the old server lives; removing the file would skip that.
    """
    path = lock_file(data)
    try:
        lines = path.read_text(errors="replace").splitlines()
    except FileNotFoundError:
        return
    if len(lines) < 7 or not lines[0].lstrip("-").isdigit():
        path.unlink()  # cut short while it was written: no server can have come up with it
        return
    path.write_text("\n".join([str(os.getpid()), *lines[1:]]) + "\n")
