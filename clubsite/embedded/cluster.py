"""One PostgreSQL data folder with its server: made, started, awaited and stopped.

The caller holds the folder's start lock throughout, so nothing here races with another process of ours.
"""

import os
import secrets
import shutil
import signal
import subprocess
import time
from pathlib import Path

import psycopg
from psycopg import sql
from psycopg.conninfo import make_conninfo

from clubsite.embedded.account import RunAs, choose_account
from clubsite.embedded.address import APP_DATABASE, APP_ROLE, PASSWORDS, PORT
from clubsite.embedded.binaries import Binaries, data_version, find_binaries
from clubsite.embedded.errors import SetupError, disk_sentence
from clubsite.embedded.folders import default_socket_folder, make_folder, make_private_folder
from clubsite.embedded.postmaster import Postmaster, disown_stale_lock, is_postgres_on, running_postmaster

SUPERUSER = "keeper"
START_SECONDS = 120
STOP_SECONDS = 60
LEFTOVER_SECONDS = 30
LOG_BYTES_KEPT = 5 * 2**20
NEEDED_BYTES = 150 * 2**20

_children: list[subprocess.Popen] = []


def ensure_running(data: Path) -> None:
    """Joins the server of this data folder, or makes the folder and starts one; returns when it answers."""
    reap()
    binaries = find_binaries(data)
    running = running_postmaster(data)
    if running:
        await_ready(data, binaries)
        return
    account = choose_account(data, binaries.folder)
    try:
        if data_version(data) is None:
            make_data_folder(data, binaries, account)
        start(data, binaries, account)
    except OSError as error:
        raise disk_sentence(error, data.parent) from None
    make_role_and_database(data)


def make_data_folder(data: Path, binaries: Binaries, account: RunAs) -> None:
    """Runs initdb beside the final place and then moves the whole, so an interruption leaves no half."""
    for left_over in data.parent.glob(f"{data.name}.new-*"):
        shutil.rmtree(left_over)
    if data.exists() and any(data.iterdir()):
        raise SetupError(f"{data} holds files that are not a database. Move them away, then run the command again.")
    refuse_small_disk(data.parent)
    fresh = data.with_name(f"{data.name}.new-{os.getpid()}")
    fresh.mkdir(mode=0o700)
    passwords = {SUPERUSER: secrets.token_urlsafe(32), APP_ROLE: secrets.token_urlsafe(32)}
    password_file = data.with_name(f"{data.name}.new-{os.getpid()}.password")
    try:
        write_private(password_file, passwords[SUPERUSER] + "\n")
        account.give(password_file)
        account.give(fresh)
        # The password comes by a descriptor: the account may not be able to walk to the file.
        with open(password_file) as password:
            made = subprocess.run(
                account.command(binaries.program("initdb"), *initdb_options(fresh, binaries)),
                stdin=password,
                capture_output=True,
                text=True,
                errors="replace",
                env=plain_environment(),
                check=False,
            )
    finally:
        password_file.unlink(missing_ok=True)
    if made.returncode != 0:
        shutil.rmtree(fresh, ignore_errors=True)
        raise SetupError(f"The database could not be made. {reason_in(made.stderr + made.stdout, data.parent)}")
    lines = "".join(f"*:*:*:{role}:{password}\n" for role, password in passwords.items())
    write_private(fresh / PASSWORDS, lines)
    if data.exists():
        data.rmdir()
    fresh.rename(data)


def initdb_options(folder: Path, binaries: Binaries) -> list[str]:
    """Checksums and passwords always; from 17 on the order of text is PostgreSQL's own, alike everywhere."""
    options = [
        "--pgdata",
        str(folder),
        "--username",
        SUPERUSER,
        "--pwfile",
        "/dev/stdin",
        "--auth",
        "scram-sha-256",
    ]
    options += ["--encoding", "UTF8", "--data-checksums"]
    if binaries.major >= 17:
        return [*options, "--locale", "C", "--locale-provider", "builtin", "--builtin-locale", "C.UTF-8"]
    return [*options, "--locale", "C.UTF-8"]


def start(data: Path, binaries: Binaries, account: RunAs) -> None:
    """Starts the server in a session of its own, out of reach of Ctrl-C on the site, and awaits it."""
    sockets = default_socket_folder()
    make_private_folder(sockets, account.owner)
    if account.uid is not None and data.stat().st_uid != account.uid:
        account.give(data)
    give_up = time.monotonic() + LEFTOVER_SECONDS
    while True:
        disown_stale_lock(data)
        for left_over in (f".s.PGSQL.{PORT}", f".s.PGSQL.{PORT}.lock"):
            (sockets / left_over).unlink(missing_ok=True)
        log = open_log(data)
        with log:
            begin = log.tell()
            child = subprocess.Popen(
                account.command(
                    *(binaries.program("postgres"), "-D", data, "-p", str(PORT), "-k", sockets),
                    *("-c", "listen_addresses=", "-c", "unix_socket_permissions=0700"),
                    *("-c", "logging_collector=off", "-c", "log_destination=stderr"),
                ),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                env=plain_environment(),
                start_new_session=True,
            )
        _children.append(child)
        try:
            await_ready(data, binaries, child)
            return
        except SetupError:
            said = log_path(data).read_bytes()[begin:].decode(errors="replace")
            if child.poll() is None:
                stop_process(child.pid, data)
                raise
            # Killed with -9, the main process leaves helpers behind that take a moment to notice.
            if "shared memory block" in said and time.monotonic() < give_up:
                time.sleep(0.5)
                continue
            raise SetupError(f"The database did not start. {reason_in(said, data.parent)}") from None


def await_ready(data: Path, binaries: Binaries, child: subprocess.Popen | None = None) -> None:
    """Returns when the server answers; crash recovery on a slow disk may take a while, and says so."""
    begin, told = time.monotonic(), False
    while time.monotonic() - begin < START_SECONDS:
        if child is not None and child.poll() is not None:
            raise SetupError("The database ended while it started.")
        running = running_postmaster(data)
        if running and is_ready(running.socket_folder, binaries):
            return
        if child is None and not running:
            raise SetupError("The database was just being stopped. Run the same command again.")
        if not told and time.monotonic() - begin > 5:
            print("The database is still getting ready.", flush=True)  # noqa: T201 - there is no logger yet
            told = True
        time.sleep(0.05)
    raise SetupError(f"The database did not answer within {START_SECONDS} seconds. See {log_path(data)}.")


def is_ready(sockets: Path, binaries: Binaries) -> bool:
    asked = [
        binaries.program("pg_isready"),
        "-q",
        "-h",
        str(sockets),
        "-p",
        str(PORT),
        "-d",
        "postgres",
        "-t",
        "5",
    ]
    return subprocess.run(asked, env=plain_environment(), check=False).returncode == 0


def make_role_and_database(data: Path) -> None:
    """The site's own role, no superuser, and its database; completes an interrupted first start."""
    running = running_postmaster(data)
    if running is None:
        raise SetupError("The database ended right after it started. Run the same command again.")
    password = read_password(data, APP_ROLE)
    role = sql.Identifier(APP_ROLE)
    try:
        with psycopg.connect(superuser_address(data, running), autocommit=True) as connection:
            if not connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [APP_ROLE]).fetchone():
                connection.execute(
                    sql.SQL("CREATE ROLE {} LOGIN CREATEDB PASSWORD {}").format(role, sql.Literal(password))
                )
            if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [APP_DATABASE]).fetchone():
                connection.execute(sql.SQL("CREATE DATABASE {} OWNER {}").format(sql.Identifier(APP_DATABASE), role))
    except psycopg.errors.DiskFull:
        raise SetupError(f"The disk that holds {data} is full. Free some space, then run the command again.") from None
    except psycopg.OperationalError as error:
        raise SetupError(f"The database refused its keeper: {' '.join(str(error).split())}.") from None


def superuser_address(data: Path, running: Postmaster) -> str:
    return make_conninfo(
        host=str(running.socket_folder),
        port=PORT,
        user=SUPERUSER,
        dbname="postgres",
        passfile=str(data / PASSWORDS),
    )


def read_password(data: Path, role: str) -> str:
    try:
        for line in (data / PASSWORDS).read_text().splitlines():
            if line.split(":")[3] == role:
                return line.split(":")[4]
    except OSError:
        pass
    raise SetupError(f"The file {data / PASSWORDS} with the database's passwords is missing. Restore it from a backup.")


def stop(data: Path) -> None:
    """Stops the server of this folder: unfinished transactions are rolled back, clients are sent away."""
    running = running_postmaster(data)
    if running:
        stop_process(running.pid, data)
        shutil.rmtree(running.socket_folder, ignore_errors=True)
    reap()


def stop_process(pid: int, data: Path) -> None:
    """Asks politely first; a server that hangs is told to end at once and recovers at its next start."""
    for order, seconds in ((signal.SIGINT, STOP_SECONDS), (signal.SIGQUIT, 10), (signal.SIGKILL, 5)):
        try:
            os.kill(pid, order)
        except ProcessLookupError:
            return
        give_up = time.monotonic() + seconds
        while time.monotonic() < give_up:
            reap()
            if not is_postgres_on(pid, data):
                return
            time.sleep(0.02)


def reap() -> None:
    """Collects servers of ours that have ended: PostgreSQL takes an uncollected child for a living server."""
    _children[:] = [child for child in _children if child.poll() is None]


def plain_environment() -> dict[str, str]:
    """Our environment without what would redirect PostgreSQL's programs or translate their messages."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PG", "LC_", "LANG"))}
    return {**kept, "LC_ALL": "C"}


def log_path(data: Path) -> Path:
    return data.parent / "log" / "postgres.log"


def open_log(data: Path):
    """The server's log, opened to be added to; one old log is kept."""
    path = log_path(data)
    make_folder(path.parent)
    if path.exists() and path.stat().st_size > LOG_BYTES_KEPT:
        path.replace(path.with_suffix(".log.old"))
    file = open(path, "ab")  # noqa: SIM115 - the caller closes it
    file.seek(0, os.SEEK_END)
    return file


def write_private(path: Path, text: str) -> None:
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)


def refuse_small_disk(folder: Path) -> None:
    free = shutil.disk_usage(folder).free
    if free < NEEDED_BYTES:
        raise SetupError(
            f"The disk that holds {folder} has {free // 2**20} MB free and a new database needs "
            f"{NEEDED_BYTES // 2**20} MB. Free some space, then run the same command again."
        )


def reason_in(said: str, folder: Path) -> str:
    """What the server's own words mean for a person."""
    known = {
        "No space left on device": f"The disk that holds {folder} is full. Free some space, then try again.",
        "Permission denied": f"Its account may not enter or write {folder}. Give it the right to do so.",
        "could not create shared memory": "The system gives it too little shared memory.",
        "shared memory block": "Processes of a killed server are still alive. End them, then try again.",
    }
    for sign, sentence in known.items():
        if sign in said:
            return sentence
    lines = [line.strip() for line in said.splitlines() if "FATAL" in line or "PANIC" in line or "error:" in line]
    return f"It said: {lines[-1]}" if lines else f"{folder / 'log' / 'postgres.log'} may say why."
