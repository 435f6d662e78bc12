import os
from functools import partial

from django.core.management.base import BaseCommand
from django.db import connections
from granian import Granian
from granian.constants import Interfaces
from granian.log import LogLevels

from clubsite.embedded.children import end_with_parent

THREADS = 4


def load_application(web_server, _target):
    """Runs in the web process itself: ends with its parent, and keeps connections open between requests."""
    end_with_parent(web_server)
    settings = connections.settings["default"]
    settings["OPTIONS"] = {**settings["OPTIONS"], "pool": {"min_size": 1, "max_size": THREADS + 1, "timeout": 10}}
    settings["CONN_HEALTH_CHECKS"] = True
    from clubsite.wsgi import application

    return application


class Command(BaseCommand):
    help = "Serve the site's pages. `start` runs this; alone it is of use only beside a running database and worker."
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *, host, port, **options):
        server = Granian(
            "clubsite.wsgi:application",
            address=host,
            port=port,
            interface=Interfaces.WSGI,
            workers=1,
            blocking_threads=THREADS,
            respawn_failed_workers=True,
            workers_kill_timeout=10,
            log_level=LogLevels.warning,
        )
        server.on_startup(end_with_parent)
        server.serve(target_loader=partial(load_application, os.getpid()))
