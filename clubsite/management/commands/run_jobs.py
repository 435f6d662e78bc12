import logging

from django_tasks.signals import task_started
from django_tasks_db.management.commands import db_worker

from clubsite import nightly
from clubsite.embedded.children import end_with_parent
from clubsite.history import acting, now_acting
from clubsite.jobs import sweep_lost_jobs, worker_signature


class Command(db_worker.Command):
    help = (
        "Work on background jobs of every queue, the night's included. Jobs that a killed worker left are taken up "
        "again first, and a night that was missed is made up for."
    )

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.set_defaults(
            queue_name="*", worker_id=worker_signature(), interval=0.5, reload=False, startup_delay=False
        )

    def configure_logging(self, verbosity):
        """Leaves the logging to the settings, and quiets the worker's farewell at each stop."""
        logging.getLogger("django_tasks_db").setLevel(logging.ERROR)

    def handle(self, **options):
        end_with_parent(grace_seconds=30)
        again, failed = sweep_lost_jobs()
        if again or failed:
            self.stdout.write(f"Jobs of a killed worker: {again} put back into the queue, {failed} given up.")
        nightly.catch_up()
        with acting(member=None):
            task_started.connect(name_the_job)
            super().handle(**options)


def name_the_job(sender, task_result, **kwargs):
    """What a job changes is remembered under the job's name."""
    now_acting(member=None, reason="", page=f"job {task_result.task.name}")
