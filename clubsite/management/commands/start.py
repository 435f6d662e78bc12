import argparse
import errno
import http.client
import os
import signal
import socket
import threading
import time

import psycopg
from django.conf import settings
from django.core.management import call_command, get_commands
from django.core.management.base import BaseCommand
from django.db import OperationalError, connection

from clubsite import embedded
from clubsite.embedded.children import Child
from clubsite.embedded.static_files import collect_static_files

READY_SECONDS = 60
EVERYWHERE = {"0.0.0.0": "127.0.0.1", "::": "::1", "": "127.0.0.1"}  # noqa: S104 - only when the person asks
ONE_CORE = {"OPENBLAS_NUM_THREADS": "1"}  # the parts share the cores: small matrices on all of them wait for each other


def port_number(text):
    if not text.isdigit() or not 0 < int(text) < 65536:
        raise argparse.ArgumentTypeError(f"{text} is no port; a port is a number from 1 to 65535.")
    return int(text)


class Command(BaseCommand):
    help = "Start the whole site: database, job worker and web server, until Ctrl-C."
    requires_system_checks = []  # they ask the database, which is not up yet

    def add_arguments(self, parser):
        parser.add_argument("--host", default="127.0.0.1", help="0.0.0.0 lets phones of the same network in.")
        parser.add_argument("--port", type=port_number, default=8000)
        parser.add_argument("--no-demo", action="store_true", help="Do not fill an empty database with the demo club.")

    def handle(self, *, host, port, no_demo, **options):
        refuse_busy_port(host, port)
        embedded.attach()
        try:
            accounts = self.prepare(no_demo)
        except OSError as error:
            raise embedded.disk_sentence(error, embedded.var_folder()) from None
        except OperationalError as error:
            raise database_sentence(error) from None
        connection.close()
        children = [
            Child("The web server", "serve", f"--host={host}", f"--port={port}", grace_seconds=15,
                  environment=public_names(host, port) | ONE_CORE),
            Child("The job worker", "run_jobs", "--queue-name=default,photos", grace_seconds=20, environment=ONE_CORE),
            Child("The evaluation worker", "run_jobs", "--queue-name=evaluation", grace_seconds=20,
                  environment=ONE_CORE),
        ]  # fmt: skip
        stop = stop_when_told()
        try:
            for child in children:
                child.start()
            if self.await_first_answer(host, port, children, stop):
                self.tell(host, port, accounts)
            keep_running(children, stop)
        finally:
            self.stdout.write("Stopping.")
            for child in children:
                child.tell_to_stop()
            for child in children:
                child.await_end()

    def prepare(self, no_demo):
        """Brings tables, static files and the demo club up to date; returns the lines about who may sign in."""
        self.say("Preparing the database.")
        call_command("migrate", interactive=False, verbosity=0)
        call_command("createcachetable", verbosity=0)
        collect_static_files()
        from clubsite.members.models import Club, Member

        if Member.objects.exists():
            if Club.current().is_demo:
                return [
                    "This is the demo club, with invented people. Their password was shown at the first start;",
                    "`python3 manage.py demo_passwords` sets a new one and lists the accounts.",
                ]
            return []
        if no_demo or "seed_demo" not in get_commands():
            return [
                "Nobody can sign in yet. Make the first officer with:",
                "  python3 manage.py first_officer you@your-club.org",
            ]
        self.say("Loading the demo club.")
        call_command("seed_demo", stdout=self.stdout)
        return []

    def await_first_answer(self, host, port, children, stop):
        """True once a page comes back; a child that dies first is started again as always."""
        give_up = time.monotonic() + READY_SECONDS
        while time.monotonic() < give_up and not stop.wait(0.1):
            revive(children)
            try:
                asked = http.client.HTTPConnection(EVERYWHERE.get(host, host), port, timeout=5)
                asked.request("GET", "/healthz", headers={"Host": allowed_host()})
                asked.getresponse()
            except OSError:
                continue
            finally:
                asked.close()
            return True
        if not stop.is_set():
            raise embedded.SetupError(
                f"The site did not answer within {READY_SECONDS} seconds. Look at the lines above."
            )
        return False

    def tell(self, host, port, accounts):
        for line in accounts:
            self.stdout.write(line)
        shown = EVERYWHERE.get(host, host)
        self.stdout.write(f"Argentry is ready at http://{f'[{shown}]' if ':' in shown else shown}:{port}")
        if host in EVERYWHERE and (address := network_address()):
            self.stdout.write(f"Phones of the same network find it at http://{address}:{port}")
        self.say("Stop it with Ctrl-C.")

    def say(self, line):
        self.stdout.write(line)
        self.stdout.flush()


def refuse_busy_port(host, port):
    """Tries the port as the web server will, so that a busy one is told before anything else is done."""
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except socket.gaierror:
        raise embedded.SetupError(f"{host} is no address of this machine. Choose another with --host.") from None
    with socket.socket(family, kind, protocol) as tried:
        tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            tried.bind(address)
            tried.listen(1)
        except OSError as error:
            sentences = {
                errno.EADDRINUSE: f"Port {port} is in use by another program, perhaps by Argentry itself. "
                "Stop that program, or choose another port with --port.",
                errno.EACCES: f"Your account may not open port {port}. Choose one above 1023 with --port.",
                errno.EADDRNOTAVAIL: f"{host} is no address of this machine. Choose another with --host.",
            }
            raise embedded.SetupError(
                sentences.get(error.errno, f"Port {port} on {host} cannot be opened: {error.strerror}.")
            ) from None


def public_names(host, port):
    """What the web server must know to accept and write its own address; what the person has set stays."""
    names = ["127.0.0.1", "localhost", "[::1]"]
    if host in EVERYWHERE:
        names += filter(None, [socket.gethostname(), network_address()])
    elif host not in ("localhost", "::1"):
        names.append(host)
    shown = EVERYWHERE.get(host, host)
    wanted = {
        "ARGENTRY_HOSTS": ",".join(dict.fromkeys(names)),
        "ARGENTRY_PUBLIC_URL": f"http://{f'[{shown}]' if ':' in shown else shown}:{port}",
    }
    return {name: value for name, value in wanted.items() if not os.environ.get(name)}


def allowed_host():
    """A name by which the site lets itself be asked."""
    return next((host.lstrip(".") for host in settings.ALLOWED_HOSTS if host != "*"), "localhost")


def network_address():
    """This machine's address in its own network; asking the system for a route sends nothing."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # RFC 5737: an address that is nobody's
        except OSError:
            return None
        return asked.getsockname()[0]


def stop_when_told():
    """An event that Ctrl-C, SIGTERM or a closed terminal sets."""
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: stop.set())
    return stop


def keep_running(children, stop):
    while not stop.wait(0.5):
        revive(children)
        embedded.revive_database()


def revive(children):
    for child in children:
        if child.has_died():
            child.restart()


def database_sentence(error):
    if isinstance(error.__cause__, psycopg.errors.DiskFull):
        return embedded.SetupError("The database's disk is full. Free some space, then run the same command again.")
    return embedded.SetupError(f"The database did not do its work: {' '.join(str(error).split())}.")
