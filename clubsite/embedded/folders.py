"""Where the site keeps its data on this machine."""

import hashlib
import os
import secrets
import stat
import tempfile
from pathlib import Path

from clubsite.embedded.errors import SetupError, disk_sentence

PROJECT = Path(__file__).resolve().parent.parent.parent


def var_folder() -> Path:
    """The data folder: ARGENTRY_VAR, else `var` beside manage.py."""
    return Path(os.path.abspath(os.path.expanduser(os.environ.get("ARGENTRY_VAR") or PROJECT / "var")))


def data_folder() -> Path:
    """PostgreSQL's own folder inside the data folder."""
    return var_folder() / "postgres"


def make_folder(folder: Path, mode: int = 0o755) -> Path:
    """The folder, made with its parents where it is missing; raises SetupError where that is impossible."""
    try:
        folder.mkdir(mode=mode, parents=True, exist_ok=True)
        probe = folder / f".probe-{os.getpid()}-{secrets.token_hex(4)}"
        probe.touch()
        probe.unlink()
    except OSError as error:
        if isinstance(error, FileExistsError | NotADirectoryError):
            raise SetupError(
                f"{folder} cannot be the data folder, because there is a file in its way. "
                "Move the file, or set ARGENTRY_VAR to another folder."
            ) from None
        raise disk_sentence(error, folder) from None
    return folder


def default_socket_folder() -> Path:
    """A short path for each account and data folder, because a socket's name is limited to 103 bytes.

    It stands in the system's temporary folder and not in TMPDIR, which may be long and differs between
    terminals, while every process of one site must find the same socket.
    """
    name = hashlib.sha256(os.fsencode(os.path.realpath(data_folder()))).hexdigest()[:12]
    shared = Path("/tmp")  # noqa: S108 - the folder made in it is private
    parent = shared if os.access(shared, os.W_OK | os.X_OK) else Path(tempfile.gettempdir())
    return parent / f"argentry-{os.getuid()}-{name}"


def make_private_folder(folder: Path, owner: int) -> None:
    """Makes a folder that only `owner` may enter, and refuses one that somebody else has put in its place."""
    folder.mkdir(mode=0o700, exist_ok=True)
    found = folder.lstat()
    if not stat.S_ISDIR(found.st_mode) or found.st_uid not in (owner, os.getuid()):
        raise SetupError(f"{folder} is in the way of the database's socket and belongs to another account. Remove it.")
    if found.st_uid != owner:
        os.chown(folder, owner, -1)
    if stat.S_IMODE(found.st_mode) != 0o700:
        folder.chmod(0o700)


def kept_secret_key() -> str:
    """The secret key of this data folder, made at the first call and readable by this account only."""
    path = make_folder(var_folder()) / "secret_key"
    if not path.exists():
        fresh = path.with_name(f".secret_key-{os.getpid()}")
        try:
            with open(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
                file.write(secrets.token_urlsafe(50))
            os.link(fresh, path)  # unlike a rename, a link never replaces the key another process has just made
        except FileExistsError:
            pass
        except OSError as error:
            raise disk_sentence(error, var_folder()) from None
        finally:
            fresh.unlink(missing_ok=True)
    return path.read_text().strip()
