"""Everything that writes is an act: right, scope, transaction, lock, idempotency, trace, in one place.

    @act(right="core.record_requests", on=Job)
    def record_sent(job: Job, *, on: date, by: Actor) -> Fact: ...

The decorated function is called with the thing and keyword arguments; `by` is required. Inside it the thing is locked and
freshly read. A further
keyword, `key`, makes the call idempotent: the same key from the same actor with the same input gives the first answer again.
Acts do not call acts;
they share plain functions.
"""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

from django.apps import apps
from django.db import IntegrityError, connection, models, transaction
from django.utils.crypto import salted_hmac

from jobs.core import clock
from jobs.core.actors import Actor
from jobs.core.models import IdempotencyKey, Job, Trace
from jobs.core.refusals import NotAllowed, OutOfSight, Refused

P = ParamSpec("P")
R = TypeVar("R")
T = TypeVar("T")


@dataclass(frozen=True)
class ActSpec:
    name: str  # "jobs.core.lifecycle.record_fitted"
    right: str
    on: type[models.Model] | None
    scope: str
    function: Callable[..., Any]


REGISTRY: dict[str, ActSpec] = {}
LONGEST_KEY = 120  # of an idempotency key, as its column keeps it


def act(
    *, right: str, on: type[models.Model] | None = None, scope: str = "seen_by", lock: bool = True
) -> Callable[[Callable[Concatenate[T, P], R]], Callable[Concatenate[T, P], R]]:
    """Make a function an act.

    right: the permission; on: the model of its first argument, None where there is nothing yet (the first argument is then
    None or plain data);
    scope: the queryset method that says what a person may touch, taking the user. A thing that belongs to a job
    (`thing.job`) is locked after its
    job, always in that order, so that two acts never wait for each other.
    """

    def decorate(function: Callable[Concatenate[T, P], R]) -> Callable[Concatenate[T, P], R]:
        name = f"{function.__module__}.{function.__qualname__}"

        @functools.wraps(function)
        def acted(thing: T, *args: P.args, **kwargs: P.kwargs) -> R:
            by = cast(Actor, kwargs["by"])
            key = cast(str | None, kwargs.pop("key", None))
            if not by.may(right):
                raise NotAllowed(f"{by.name} may not do this; it needs the right “{right}”.")
            if on is not None:
                _in_scope(cast(models.Model, thing), by, scope)
            with transaction.atomic():
                digest = _digest(name, thing, kwargs) if key else ""
                if key and (told := _claim(by, key, name, digest)) is not None:
                    return cast(R, _answered(told))
                held = cast(T, _locked(cast(models.Model, thing), lock=lock)) if on is not None else thing
                answer = function(held, *args, **kwargs)
                _trace(name, held if on is not None else answer, by)
                if key:
                    IdempotencyKey.objects.filter(actor=by.key, key=key).update(answer=_answer(answer))
            return answer

        REGISTRY[name] = ActSpec(name, right, on, scope, acted)
        return cast(Callable[Concatenate[T, P], R], acted)

    return decorate


def steps(acted: Callable[..., R], *, by: Actor) -> Callable[..., R]:
    """What an act does, as a part of another act that holds the lock of the same job and leaves the trace. Its right is asked here."""
    spec = REGISTRY[f"{acted.__module__}.{acted.__qualname__}"]
    if not by.may(spec.right):
        raise NotAllowed(f"{by.name} may not do this; it needs the right “{spec.right}”.")
    return cast(Callable[..., R], acted.__wrapped__)  # type: ignore[attr-defined]  # functools.wraps keeps it there


def one_at_a_time(what: str) -> None:
    """Let no two transactions pass here at once for the same name; for rules that no single row can be locked for.

    SQLite needs nothing: its transactions write one at a time.
    """
    if connection.vendor == "postgresql":
        number = int.from_bytes(hashlib.sha256(what.encode()).digest()[:8], signed=True)
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [number])


def _in_scope(thing: models.Model, by: Actor, scope: str) -> None:
    manager = type(thing)._default_manager
    if by.user is not None:
        visible = getattr(manager.all(), scope)(by.user) if hasattr(manager.all(), scope) else None
        if visible is not None and not visible.filter(pk=thing.pk).exists():
            raise OutOfSight("There is no such record among those you may see.")
    elif not by.everywhere and _job_of(thing) != by.job_id:
        raise OutOfSight("This link is about another home.")


def _job_of(thing: models.Model) -> int | None:
    job = getattr(thing, "job", None)
    return job.pk if isinstance(job, Job) else None


def _locked(thing: models.Model, *, lock: bool) -> models.Model:
    job_id = _job_of(thing)
    if lock and job_id is not None and not isinstance(thing, Job):
        Job.objects.select_for_update().get(pk=job_id)
    rows = type(thing)._default_manager.all()
    # of=("self",): related rows that a default manager joins must not be locked too.
    held = (rows.select_for_update(of=("self",)) if lock else rows).filter(pk=thing.pk).first()
    if held is None:
        raise OutOfSight("This was taken away meanwhile.")
    return held


def _digest(name: str, thing: object, kwargs: dict[str, Any]) -> str:
    told = {word: _plain(value) for word, value in kwargs.items() if word != "by"}
    # Keyed: the input may be a gate code of four digits, which a plain hash would give away to whoever reads the table.
    return salted_hmac("office.acts", json.dumps([name, _plain(thing), told], sort_keys=True), algorithm="sha256").hexdigest()


def _plain(value: object) -> object:
    if isinstance(value, models.Model):
        return [value._meta.label, value.pk]
    if isinstance(value, dict):
        return {str(word): _plain(inner) for word, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if value is None or isinstance(value, str | int | float | bool):
        return value
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, bytes):
        return hashlib.sha256(value).hexdigest()
    return repr(value)


def _claim(by: Actor, key: str, name: str, digest: str) -> IdempotencyKey | None:
    """None when the key is new and now ours; else the row of the first call, which has ended."""
    if len(key) > LONGEST_KEY or "\0" in key:
        raise Refused("This was not sent by one of our pages as they stand; nothing was recorded. Open the page anew.")
    try:
        # The unique row waits for a first call that still runs: then it is answered from it, or begins anew if that one failed.
        with transaction.atomic():
            IdempotencyKey.objects.create(actor=by.key, key=key, act=name, input_hash=digest, at=clock.now())
    except IntegrityError:
        told = IdempotencyKey.objects.get(actor=by.key, key=key)
        if told.input_hash != digest:
            raise Refused("This was sent before with other contents; nothing was recorded this time. Open the page anew.") from None
        return told
    return None


def _answer(answer: object) -> dict[str, Any]:
    if isinstance(answer, models.Model):
        return {"model": answer._meta.label, "pk": answer.pk}
    return {"value": _plain(answer)}


def _answered(told: IdempotencyKey) -> object:
    if "model" in told.answer:
        return apps.get_model(told.answer["model"])._default_manager.get(pk=told.answer["pk"])
    return told.answer.get("value")


def _trace(name: str, thing: object, by: Actor) -> None:
    job_id = _job_of(thing) if isinstance(thing, models.Model) else None
    on = f"{thing._meta.label_lower} {thing.pk}" if isinstance(thing, models.Model) else ""
    Trace.objects.create(act=name, on=on, job_id=job_id, actor=by.name, user=by.user, source=by.source, at=clock.now())
