"""As whom the server's programs run: PostgreSQL refuses root, so root steps down first."""

import os
import pwd
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from clubsite.embedded.errors import SetupError

STEP_DOWN = Path(__file__).with_name("step_down.py")
ACCOUNTS = ("postgres", "nobody")


@dataclass(frozen=True)
class RunAs:
    """The words to put before a command, and who owns the files that it makes."""

    prefix: tuple[str, ...] = ()
    uid: int | None = None
    gid: int | None = None

    def command(self, *arguments: str | Path) -> list[str]:
        return [*self.prefix, *map(str, arguments)]

    def give(self, path: Path) -> None:
        """Hands a file or a folder with all it holds to the account, where there is one."""
        if self.uid is None:
            return
        os.chown(path, self.uid, self.gid if self.gid is not None else -1, follow_symlinks=False)
        if path.is_dir() and not path.is_symlink():
            for inner in path.iterdir():
                self.give(inner)

    @property
    def owner(self) -> int:
        return os.getuid() if self.uid is None else self.uid


def choose_account(data: Path, binaries: Path) -> RunAs:
    """How to run PostgreSQL on `data`: as we are, or, for root, in the first way that works here."""
    if os.getuid() != 0:
        return RunAs()
    keeper = owner_of(data)
    if keeper in (None, 0):
        inside = step_down("namespace", 0, 0)
        if works(inside, binaries):
            return inside
        keeper = None
    account = pwd.getpwuid(keeper) if keeper else any_account(data.parent)
    for way in ("account", "searching"):
        outside = step_down(way, account.pw_uid, account.pw_gid)
        if works(outside, binaries, data.parent):
            return outside
    raise SetupError(
        f"PostgreSQL does not run as root, and the account {account.pw_name} may not enter {data.parent}: "
        "run Argentry as an ordinary user, or set ARGENTRY_VAR to a folder which that account may enter."
    )


def step_down(way: str, uid: int, gid: int) -> RunAs:
    prefix = (sys.executable, "-I", "-S", str(STEP_DOWN), way, str(uid), str(gid))
    return RunAs(prefix) if way == "namespace" else RunAs(prefix, uid, gid)


def works(account: RunAs, binaries: Path, folder: Path | None = None) -> bool:
    """Whether the account can run the programs and enter the folder; tried, because only the kernel knows."""
    tries = [account.command(binaries / "postgres", "--version")]
    if folder is not None:
        tries.append(account.command("/bin/sh", "-c", 'cd "$0"', folder))
    return all(
        subprocess.run(one, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False).returncode == 0
        for one in tries
    )


def owner_of(path: Path) -> int | None:
    try:
        return path.stat().st_uid
    except FileNotFoundError:
        return None


def any_account(folder: Path) -> pwd.struct_passwd:
    """Who owns the data folder's parent where that is not root, else an account that every system has."""
    owner = owner_of(folder)
    if owner:
        return pwd.getpwuid(owner)
    for name in ACCOUNTS:
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    raise SetupError("PostgreSQL does not run as root, and this system has no other account to run it as.")
