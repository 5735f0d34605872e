"""The embedded default: web, worker and timetable in one process, on a place that the first start prepares."""

from __future__ import annotations

import logging
import secrets
import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, cast

from celery.app import app_or_default
from celery.apps.worker import Worker
from celery.beat import EmbeddedService
from celery.signals import worker_ready
from celery.worker import WorkController
from django.conf import settings
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application
from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor
from waitress import create_server
from waitress.server import BaseWSGIServer

from jobs.core import actors, people, tasks
from jobs.core.models import Job, User
from jobs.core.refusals import Refused
from jobs.core.rights import MANAGER

HOST = "127.0.0.1"
FIRST_EMAIL = "manager@office.example"
ENDINGS: Final = (signal.SIGINT, signal.SIGTERM)
_asked = threading.Event()


@dataclass(frozen=True)
class SignIn:
    role: str
    email: str
    password: str


def prepare(say: Callable[[str], None]) -> list[SignIn]:
    """Make an empty place ready; change nothing of one that is in use. Gives the sign-ins to print.

    Killed at any moment it is begun anew: until the first person is in it, a place is empty.
    """
    if not _in_use():
        say("Preparing the database.")
        call_command("migrate", interactive=False, verbosity=0)
    elif _migrations_wanted():
        raise Refused(
            "The database was made by an older version of this program; nothing was changed. "
            "Copy it to a safe place, then run “manage.py migrate”."
        )
    return _demo(say) if settings.DEMO else _office()


def _in_use() -> bool:
    return User._meta.db_table in connection.introspection.table_names() and User.objects.exists()


def _migrations_wanted() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def _demo(say: Callable[[str], None]) -> list[SignIn]:
    from jobs.pages import demo

    if not User.objects.exists() and not Job.objects.exists():
        say("Making the demo's homes.")
        with transaction.atomic():
            demo.make()
    elif not User.objects.filter(is_demo=True).exists():
        raise Refused("This database holds jobs or people that the demo did not make; it is left alone. Start without --demo.")
    users = User.objects.filter(is_demo=True, is_active=True).prefetch_related("groups").order_by("pk")
    return [SignIn(user.role_words, user.email, settings.DEMO_PASSWORD) for user in users]


def _office() -> list[SignIn]:
    # The demo's passwords are printed for everybody to read; outside the demo they must open nothing.
    User.objects.filter(is_demo=True, is_active=True).update(is_active=False)
    if User.objects.exists():
        return []
    password = secrets.token_urlsafe(12)
    by = actors.command("start")
    people.add_user(
        FIRST_EMAIL,
        name="Operations manager",
        password=password,
        roles=[MANAGER],
        zone=User._meta.get_field("zone").default,
        languages=["en"],
        by=by,
    )
    return [SignIn(MANAGER, FIRST_EMAIL, password)]


def listen(port: int) -> BaseWSGIServer:
    """Take the port before anything is prepared, so that a port in use is said at once."""
    try:
        return create_server(get_wsgi_application(), host=HOST, port=port, threads=8)
    except OSError as fault:
        raise Refused(f"Port {port} cannot be used here: {fault.strerror}. Choose another with --port.") from fault


def run(server: BaseWSGIServer) -> None:
    """Serve, work and keep the timetable until the process is told to end; the worker then finishes what it has begun.

    `keep_endings` comes before anybody is told that Ctrl-C ends it.
    """
    # The worker must not take over the printing of the whole process.
    app = app_or_default()
    app.conf.worker_redirect_stdouts = False
    threading.Thread(target=server.run, name="web", daemon=True).start()
    # In memory there is no host to name; the library wonders at that each time.
    logging.getLogger("kombu.connection").setLevel(logging.ERROR)
    timetable = str(settings.VAR / f"{settings.PLACE}-timetable")
    beat = cast(threading.Thread, EmbeddedService(app, thread=True, schedule_filename=timetable))
    beat.daemon = True
    beat.start()
    tasks.beat.delay()  # the first heartbeat at once, not after a minute
    Endable(app=app, pool="threads", concurrency=2, without_gossip=True, without_mingle=True, without_heartbeat=True, quiet=True).start()


class Endable(Worker):
    """A worker that keeps an interrupt for later while it starts: taken up by its own handler then, one could be lost for ever."""

    def install_platform_tweaks(self, worker: WorkController) -> None:
        super().install_platform_tweaks(worker)
        _keep_until_ready({ending: signal.getsignal(ending) for ending in ENDINGS})


def keep_endings() -> None:
    """From now on an interrupt is kept until the worker knows how to end, also where a shell had it ignored."""
    for ending in ENDINGS:
        signal.signal(ending, lambda *_: _asked.set())


def _keep_until_ready(handlers: Mapping[signal.Signals, Any]) -> None:
    """Once the worker knows how to end, its handlers are put in, and what asked for the end meanwhile asks again."""
    keep_endings()

    def ready(**_: object) -> None:
        for ending, handler in handlers.items():
            signal.signal(ending, handler)
        if _asked.is_set():
            signal.raise_signal(signal.SIGINT)

    worker_ready.connect(ready, weak=False)


def said(port: int, sign_ins: list[SignIn]) -> Iterator[str]:
    yield f"The office answers at http://{HOST}:{port}/"
    for sign_in in sign_ins:
        yield f"  {sign_in.role}: {sign_in.email}, password {sign_in.password}"
    if sign_ins and not settings.DEMO:
        yield "  This password is shown once. Change it, and set your own e-mail, after signing in."
    yield "Ctrl-C ends it."
