#!/usr/bin/env python3
"""The one door: `python3 manage.py start`, `python3 manage.py test`, and every Django command.

Run by any Python 3 outside the project's environment, this file makes `.venv`, fills it from the hashed
requirements and starts itself again inside. Until then it uses the standard library only, and no syntax
that an old Python could not read, so that an old Python gets a sentence and not a traceback.
"""

import errno
import hashlib
import json
import os
import shutil
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
VENV = os.path.join(HERE, ".venv")
VENV_PYTHON = os.path.join(VENV, "bin", "python")
STAMP = os.path.join(VENV, "argentry-stamp.json")
RUNTIME = "requirements.txt"
TESTS = os.path.join("tests", "requirements.txt")
OLDEST_PYTHON = (3, 11)
DISK_NEEDED_MB = {RUNTIME: 900, TESTS: 1700}
NO_DATABASE = {"", "help", "version", "--version", "--help", "-h", "check", "collectstatic", "diffsettings"}
NO_DATABASE |= {"findstatic", "makemessages", "compilemessages", "startapp", "startproject"}


class Stop(Exception):
    """A reason not to go on, as one sentence for the person at the keyboard."""


def main(arguments):
    command = arguments[0] if arguments else ""
    try:
        read_settings_file()
        if not inside_environment():
            refuse_unfit_python()
            prepare_environment(command)
            os.execv(VENV_PYTHON, [VENV_PYTHON, os.path.abspath(__file__), *arguments])
        run_inside(command, arguments)
    except Stop as stop:
        leave(stop)
    except KeyboardInterrupt:
        sys.exit(130)
    except OSError as error:
        if error.errno not in WORDS_FOR_ERRORS:
            raise
        place = f" ({error.filename})" if error.filename else ""
        leave(WORDS_FOR_ERRORS[error.errno] + place + ". " + WHAT_TO_DO[error.errno])


def read_settings_file():
    """Take NAME=value lines of `.env` into the environment; what is set there already stays."""
    try:
        with open(os.path.join(HERE, ".env"), encoding="utf-8") as file:
            lines = [line.strip() for line in file]
    except FileNotFoundError:
        return
    for number, line in enumerate(lines, 1):
        name, equals, value = line.partition("=")
        if not line or line.startswith("#"):
            continue
        if not equals or not name.strip().replace("_", "").isalnum():
            raise Stop("Line " + str(number) + " of .env is not NAME=value; .env.example shows how.")
        os.environ.setdefault(name.strip(), value.strip().strip("'\""))


WORDS_FOR_ERRORS = {
    errno.ENOSPC: "The disk is full",
    errno.EDQUOT: "Your disk quota is used up",
    errno.EACCES: "Your account may not write there",
    errno.EPERM: "Your account may not do that there",
    errno.EROFS: "That disk is read-only",
}
WHAT_TO_DO = {
    errno.ENOSPC: "Free some space, then run the same command again.",
    errno.EDQUOT: "Free some space, then run the same command again.",
    errno.EACCES: "Give your account the right to write there, or put Argentry into a folder of your own.",
    errno.EPERM: "Give your account the right to do so, or put Argentry into a folder of your own.",
    errno.EROFS: "Put Argentry on a disk that can be written, or set ARGENTRY_VAR to a folder on one.",
}


def leave(reason):
    """Says why, on one line, and ends with status 1."""
    print(str(reason), file=sys.stderr)
    sys.exit(1)


# --- outside the environment ----------------------------------------


def inside_environment():
    return os.path.realpath(sys.prefix) == os.path.realpath(VENV)


def refuse_unfit_python():
    if sys.version_info < OLDEST_PYTHON:
        raise Stop(
            "Argentry needs Python {}.{} or newer and this is Python {}.{}: install a newer one and run "
            "this command with it.".format(*(OLDEST_PYTHON + tuple(sys.version_info[:2])))
        )
    if os.name != "posix":
        raise Stop("Argentry runs on Linux and macOS; on Windows, run it inside the Linux subsystem (WSL).")


def prepare_environment(command):
    """Makes or renews `.venv` where this command asks for it; quick when there is nothing to do."""
    wanted = TESTS if command == "test" else RUNTIME
    if is_ready(wanted, command):
        return
    with one_at_a_time():
        if is_ready(wanted, command):  # another terminal did it while this one waited
            return
        refuse_unwritable_folder()
        refuse_small_disk(wanted)
        if not python_works():
            make_environment()
        install(wanted)


def is_ready(wanted, command):
    if not python_works():
        return False
    if command not in ("start", "test"):
        return os.path.exists(STAMP)
    return read_stamp().get(wanted) == digest(wanted)


def python_works():
    """Whether `.venv` holds a fit Python that still starts; upgrading the system breaks old ones."""
    if not os.path.exists(VENV_PYTHON):
        return False
    told = subprocess.run(
        [VENV_PYTHON, "-I", "-c", "import sys, encodings; print(sys.version_info[:2], sys.prefix)"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        check=False,
    )
    if told.returncode != 0:
        return False
    version = os.fsdecode(told.stdout).split(")")[0].strip("( ").split(", ")
    library = os.path.join(VENV, "lib", "python{}.{}".format(*version), "site-packages")
    return tuple(int(part) for part in version) >= OLDEST_PYTHON and os.path.isdir(library)


def read_stamp():
    try:
        with open(STAMP, encoding="utf-8") as file:
            stamp = json.load(file)
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def digest(requirements):
    with open(os.path.join(HERE, requirements), "rb") as file:
        return hashlib.sha256(file.read()).hexdigest()


class one_at_a_time:
    """Holds the project folder itself as a lock, so that two first starts do not fill `.venv` together."""

    def __enter__(self):
        import fcntl

        self.folder = os.open(HERE, os.O_RDONLY)
        try:
            fcntl.flock(self.folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("Another terminal is installing; waiting for it to finish.")
            fcntl.flock(self.folder, fcntl.LOCK_EX)
        except OSError:  # a file system without locks: go on without
            pass

    def __exit__(self, *_):
        os.close(self.folder)


def refuse_unwritable_folder():
    for folder in (HERE, VENV):
        if os.path.exists(folder) and not os.access(folder, os.W_OK):
            raise Stop(
                f"Your account may not write to {folder}: give it the right to do so, "
                "or put Argentry into a folder of your own."
            )


def refuse_small_disk(wanted):
    free = shutil.disk_usage(HERE).free // 2**20
    needed = DISK_NEEDED_MB[wanted]
    if not read_stamp() and free < needed:
        raise Stop(
            f"The disk has {free} MB free and the first start needs about {needed} MB: "
            "free some space, then run the same command again."
        )


def make_environment():
    """Makes an empty `.venv` with pip in it; without a venv module, uv makes one without pip."""
    say("Making the environment in .venv (only the first time).")
    uv = shutil.which("uv")
    if has_venv():
        made = subprocess.run([sys.executable, "-m", "venv", "--clear", VENV], check=False)
    elif uv:
        made = subprocess.run([uv, "venv", "--quiet", "--clear", "--python", sys.executable, VENV], check=False)
    else:
        raise Stop(
            "This Python has no venv module: install it (on Debian and Ubuntu: apt install python3-venv) "
            "and run the same command again."
        )
    if made.returncode != 0 or not python_works():
        raise Stop(why_it_failed("The environment in .venv could not be made"))


def has_venv():
    try:
        import ensurepip  # noqa: F401 - Debian keeps it in a package of its own
        import venv  # noqa: F401
    except ImportError:
        return False
    return True


def install(wanted):
    """Installs exactly the hashed files; the stamp is written last, so a broken install is redone."""
    if os.path.exists(STAMP):
        os.unlink(STAMP)
    path = os.path.join(HERE, wanted)
    with open(path, encoding="utf-8") as file:
        count = sum("==" in line for line in file)
    say(f"Installing up to {count} packages from {wanted} (some minutes the first time).")
    exactly = ["--require-hashes", "--only-binary", ":all:", "-r", path]
    if not any(subprocess.run([*installer, *exactly], check=False).returncode == 0 for installer in installers()):
        raise Stop(why_it_failed("Installing the packages failed, for the reason shown above"))
    # The test requirements hold every runtime requirement at the same version, so they satisfy both.
    stamp = {wanted: digest(wanted), RUNTIME: digest(RUNTIME)}
    with open(STAMP + ".new", "w", encoding="utf-8") as file:
        json.dump(stamp, file)
    os.replace(STAMP + ".new", STAMP)
    say("Installed.")


def installers():
    """uv where it is on PATH, because it is quick; then pip, which knows the system's certificates and mirrors."""
    uv = shutil.which("uv")
    if uv:
        yield [uv, "pip", "install", "--python", VENV_PYTHON]
    pip = [VENV_PYTHON, "-m", "pip"]
    if subprocess.run([*pip, "--version"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode:
        if not has_venv():
            return
        make_environment()  # an interrupted start left Python without pip
    if uv:
        say("uv could not do it; now with pip.")
    yield [*pip, "install", "--no-input", "--disable-pip-version-check", "--no-warn-script-location"]


def why_it_failed(what):
    if shutil.disk_usage(HERE).free < 50 * 2**20:
        return what + ": the disk is full. Free some space, then run the same command again."
    return what + ". Mend that and run the same command again; it goes on where it stopped."


def say(text):
    print(text, flush=True)


# --- inside the environment ----------------------------------------


def run_inside(command, arguments):
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubsite.settings")
    from clubsite import embedded

    try:
        if command == "test":
            sys.exit(run_tests(arguments[1:]))
        if command not in NO_DATABASE or "--database" in arguments:
            if not os.environ.get("ARGENTRY_SECRET_KEY"):
                embedded.kept_secret_key()  # before the settings look for it
            if command != "start":  # which attaches after checks of its own
                embedded.attach()
        from django.core.management import execute_from_command_line

        execute_from_command_line([sys.argv[0], *arguments])
    except embedded.SetupError as error:
        raise Stop(error) from None


def run_tests(arguments):
    from clubsite import embedded

    embedded.attach()
    import pytest

    os.chdir(HERE)
    # Each worker has a core: matrices that ask for all of them at once wait for each other many times as long.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    cores = os.cpu_count() or 1
    if not arguments and cores > 1:
        arguments = ["-n", str(min(cores, 4)), "--dist", "worksteal"]  # the whole suite on every core, a database each
    return int(pytest.main(arguments))


if __name__ == "__main__":
    main(sys.argv[1:])
