"""What the calls need by themselves. Any task may run twice."""

from __future__ import annotations

from celery import shared_task

from jobs.appointments import promised


@shared_task
def keep_promised_times() -> str:
    return f"{promised.keep_all()} calls follow their clock"
