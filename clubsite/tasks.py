"""Background jobs of the house: the night and its work. Each may safely run twice."""

from django_tasks import task

from clubsite import nightly


@task
def begin_night() -> int:
    """Plan the next night, then queue this one's jobs, each by itself; returns how many."""
    jobs = nightly.due()
    for job in jobs:
        run_nightly.enqueue(job.name)
    nightly.plan_next()
    return len(jobs)


@task
def run_nightly(name: str) -> str:
    """Do one job of the night; a job that no longer exists is left out."""
    job = nightly.JOBS.get(name)
    return nightly.run(job) if job else "No such job."
