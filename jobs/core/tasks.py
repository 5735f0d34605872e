import datetime as dt

from celery import shared_task

from jobs.core import clock, waking
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


# Shorter than a worker's time limit: a long file is applied in turns, each woken by the one before.
_TURN = dt.timedelta(seconds=60)
STILL = dt.timedelta(seconds=90)
CHECK_STILL = 5 * STILL  # the checking of a long file tells of itself only after each of its steps


@shared_task
def apply_import(run_id: int) -> None:
    """Go on with a begun import; the row holds how far it has come, so that any number of workers may try."""
    from jobs.core import actors, importing
    from jobs.core.models import ImportRun
    from jobs.core.refusals import NotAllowed, Refused

    run = ImportRun.objects.select_related("by").filter(pk=run_id, started_at__isnull=False, dropped_at__isnull=True).first()
    if run is None or run.finished_at:
        return
    by = actors.person(run.by) if run.by else actors.command("import_file")
    try:
        run = importing.apply(run, by=by, turn=_TURN)
    except (Refused, NotAllowed):
        return  # dropped meanwhile, or its person lost the right; its page says where it stands
    if run.finished_at is None:
        wake_import(run.pk)


def wake_import(run_id: int) -> None:
    waking.wake("jobs.core.tasks.apply_import", run_id)


@shared_task
def check_import(run_id: int) -> None:
    """Check all rows of a long file; its row holds what was found."""
    from jobs.core import actors, importing
    from jobs.core.models import ImportRun
    from jobs.core.refusals import NotAllowed, Refused

    run = ImportRun.objects.select_related("by").filter(pk=run_id, checked={}, started_at__isnull=True, dropped_at__isnull=True).first()
    if run is None:
        return
    by = actors.person(run.by) if run.by else actors.command("import_file")
    columns = run.columns
    importing.note_checking(run, tenths=0)
    try:
        # Looked at outside the act: its transaction would hold SQLite's only write lock for as long as the checking takes.
        looked = importing.look(run, by=by, told=lambda tenths: importing.note_checking(run, tenths=tenths))
        run.refresh_from_db()
        if run.columns == columns:
            importing.check_whole(run, looked=looked, by=by)
    except (Refused, NotAllowed):
        return  # dropped or begun meanwhile, or its person lost the right


def wake_check(run_id: int) -> None:
    waking.wake("jobs.core.tasks.check_import", run_id)


@shared_task
def sweep_imports() -> int:
    """Wake the imports that were begun and stand still, and those that wait to be checked."""
    from jobs.core import importing

    still = importing.standing_still(since=STILL)
    for run_id in still:
        wake_import(run_id)
    for run_id in importing.unchecked(since=CHECK_STILL):
        wake_check(run_id)
    return len(still)
