"""Gate codes and the like: encrypted with rotating keys, shown for a purpose, each showing traced."""

from __future__ import annotations

from collections.abc import Callable

from cryptography.fernet import Fernet, MultiFernet
from django.conf import settings

from jobs.core import clock
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.followups import Settled
from jobs.core.models import Job, Secret, Trace, User
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.core.waiting import CREW


def _box() -> MultiFernet:
    # The first key seals; all open. A new key is put in front, the old one goes when nothing is sealed with it any more.
    return MultiFernet([Fernet(key) for key in settings.FIELD_KEYS])


# Whether a person is at work on a home now, by each app that knows of some work: a crew on its day, a verifier on a call.
AtWork = Callable[[Job, User], bool]
_at_work: dict[str, AtWork] = {}


def register(at_work: AtWork) -> AtWork:
    """Registered once under its full name, however often the app is made ready."""
    _at_work[f"{at_work.__module__}.{at_work.__qualname__}"] = at_work
    return at_work


@register
def on_its_day(job: Job, user: User) -> bool:
    """A crew on the day on which it builds the home, and from the day on which it is due there again."""
    today = clock.today_in(job.site.zone)
    builds = job.install_on == today or (job.next_role == CREW and job.next_due_on is not None and job.next_due_on <= today)
    return builds and not user.has_perm("core.see_jobs") and user.has_perm("core.see_own_jobs")


def refuse_unless_at_work(job: Job, by: Actor) -> None:
    if by.user is None or by.may("core.reveal_any_code") or any(at_work(job, by.user) for at_work in _at_work.values()):
        return
    raise Refused(
        "The code is shown to a crew on its day at the home and to a verifier during the own call with it. Ask the scheduler for it."
    )


@act(right="core.reveal_codes", on=Job)
def keep_code(job: Job, *, name: str, code: str, by: Actor) -> Secret:
    """Keep a gate code; it is stored encrypted."""
    if not code.strip():
        raise Refused("The code is empty; type it, or leave the page.", field="code")
    row, _ = Secret.objects.update_or_create(job=job, name=name, defaults={"sealed": _box().encrypt(code.encode()), "set_at": clock.now()})
    return row


def is_kept(job: Job, *, name: str) -> bool:
    """Whether there is a code to show; says nothing of it."""
    return Secret.objects.filter(job=job, name=name).exists()


def refuse_code_in(job: Job, text: str, *, field: str) -> None:
    """A kept code never stands in a text that leaves the house or hangs at it: a sheet, a tag, a request."""
    plain = "".join(text.split()).casefold()
    if not plain:
        return
    for row in Secret.objects.filter(job=job):
        code = "".join(_box().decrypt(bytes(row.sealed)).decode().split()).casefold()
        if code and code in plain:
            raise Refused("This holds the home's gate code, which is never written here; say who opens instead.", field=field)


def forget_at_close(settled: Settled) -> None:
    """The follow-up: when a job is closed, verified or cancelled, its codes are deleted (TRADE.md G). A new wait asks anew."""
    if not any(settled.entered(state) for state in (S.BACKUP_VERIFIED, S.CANCELLED)):
        return
    for row in Secret.objects.filter(job=settled.job):
        Trace.objects.create(
            act=f"deleted at close: {row.name}",
            on=f"core.secret {row.pk}",
            job=settled.job,
            actor=settled.by.name,
            user=settled.by.user,
            source=settled.by.source,
            at=clock.now(),
        )
        row.delete()


@act(right="core.reveal_codes", on=Job)
def reveal_code(job: Job, *, name: str, purpose: str, by: Actor) -> str:
    """The code in clear, for a stated purpose; the trace says who, when and why."""
    if len(purpose.strip()) < 3:
        raise Refused("Say what the code is needed for.", field="purpose")
    refuse_unless_at_work(job, by)
    row = Secret.objects.filter(job=job, name=name).first()
    if row is None:
        raise Refused("No code is kept for this home.")
    Trace.objects.create(
        act=f"shown: {name}, for {purpose.strip()[:60]}",
        on=f"core.secret {row.pk}",
        job=job,
        actor=by.name,
        user=by.user,
        source=by.source,
        at=clock.now(),
    )
    return _box().decrypt(bytes(row.sealed)).decode()
