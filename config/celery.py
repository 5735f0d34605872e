"""The Celery app and the timetable of periodic tasks.

A message is only a wake-up: what is due stands in rows, and the sweeps below find it even when every message was lost.
"""

import os

from celery import Celery
from celery.schedules import crontab

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("office")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

app.conf.beat_schedule = {
    "heartbeat": {"task": "jobs.core.tasks.beat", "schedule": 60.0},
    "sweep-outbox": {"task": "jobs.notices.tasks.sweep", "schedule": 60.0},
    "sweep-imports": {"task": "jobs.core.tasks.sweep_imports", "schedule": 60.0},
    # What another process recorded, an import by command for instance, reaches no worker over a broker inside this process.
    "stale-forecasts": {"task": "utilities.tasks.refresh_stale", "schedule": 300.0},
    "forecasts": {"task": "utilities.tasks.nightly", "schedule": crontab(minute=10)},
    # A new edition of the time zones comes with an upgrade of the system.
    "promised-times": {"task": "jobs.appointments.tasks.keep_promised_times", "schedule": crontab(minute=50)},
    "forecast-scores": {"task": "utilities.tasks.score", "schedule": crontab(minute=40)},
    "bag-photos": {"task": "jobs.notices.tasks.ask_for_bag_photos", "schedule": crontab(minute=20, hour=15)},
    "orphan-files": {"task": "jobs.core.tasks.sweep_files", "schedule": crontab(minute=30, hour=3, day_of_week="sunday")},
}
