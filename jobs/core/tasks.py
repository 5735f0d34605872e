from celery import shared_task

from jobs.core import clock
from jobs.core.models import Heartbeat


@shared_task
def beat() -> None:
    """One row each minute says that broker, timetable and worker are alive."""
    Heartbeat.objects.update_or_create(name="worker", defaults={"at": clock.now()})


@shared_task
def sweep_files() -> int:
    """Count stored bytes that no document names; report only, never delete."""
    from jobs.core import files

    return len(files.orphans())
