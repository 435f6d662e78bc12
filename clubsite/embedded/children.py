"""The site's own child processes: started again when they die, gone when their parent is gone."""

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time

from clubsite.embedded.errors import SetupError
from clubsite.embedded.folders import PROJECT

CRASHES_BEFORE_GIVING_UP = 5
CRASH_WINDOW_SECONDS = 60
PARENT = "ARGENTRY_PARENT_PID"


class Child:
    """One management command kept running, in a session of its own so that Ctrl-C reaches only the parent."""

    def __init__(self, name: str, *arguments: str, grace_seconds: float, environment: dict[str, str] | None = None):
        self.name = name
        self.arguments = arguments
        self.grace_seconds = grace_seconds
        self.environment = environment or {}
        self.crashes: list[float] = []
        self.process: subprocess.Popen | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, str(PROJECT / "manage.py"), *self.arguments],
            stdin=subprocess.DEVNULL,
            env={**os.environ, **self.environment, PARENT: str(os.getpid())},
            start_new_session=True,
        )

    def has_died(self) -> bool:
        return self.process is not None and self.process.poll() is not None

    def restart(self) -> None:
        """Starts it again, a little later each time; a child that keeps dying stops the site with a sentence."""
        now = time.monotonic()
        self.crashes = [at for at in self.crashes if at > now - CRASH_WINDOW_SECONDS] + [now]
        if len(self.crashes) > CRASHES_BEFORE_GIVING_UP:
            raise SetupError(f"{self.name} keeps ending by itself. The lines above say why.")
        self.end_left_overs()
        time.sleep(0.2 * (len(self.crashes) - 1))
        self.start()

    def tell_to_stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()

    def await_end(self) -> None:
        """Waits as long as it may take, then ends it and whatever it started."""
        if self.process is None:
            return
        try:
            self.process.wait(self.grace_seconds)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.end_left_overs()

    def end_left_overs(self) -> None:
        """Ends the processes of the child's session that outlived it, and waits until they let go of the database."""
        if self.process is None:
            return
        give_up = time.monotonic() + 2
        with contextlib.suppress(ProcessLookupError, PermissionError):
            while time.monotonic() < give_up:
                os.killpg(self.process.pid, signal.SIGKILL)
                time.sleep(0.02)


def end_with_parent(parent: int | None = None, grace_seconds: float = 15.0) -> None:
    """Makes this process end when its parent has ended in whatever way; a thread looks once a second."""
    expected = parent or int(os.environ.get(PARENT) or os.getppid())
    if os.getppid() != expected:
        raise SystemExit("The site that this process belongs to has already ended.")

    def watch():
        while os.getppid() == expected:
            time.sleep(1)
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(grace_seconds)
        os._exit(1)

    threading.Thread(target=watch, name="end-with-parent", daemon=True).start()
