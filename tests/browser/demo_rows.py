"""What the pictures show, found in the demo's records."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from django.db.models import Count, F, Q, QuerySet

from billing.models import BankLine, CreditNote, Invoice, Milestone, Payer, Payment, Waiver
from jobs.appointments import feeds, readiness, worklists
from jobs.appointments.models import Appointment, AppointmentState, CallRecord, Press, Tentative, VerificationRecord
from jobs.appointments.visitmodels import SiteVisit
from jobs.core import actors, clock, links, tags
from jobs.core import kinds as k
from jobs.core.models import (
    Authority,
    BagReport,
    Collar,
    DesignDocument,
    Document,
    ExpiringPaper,
    Fact,
    Hold,
    ImportRun,
    Job,
    SignedLink,
    User,
)
from jobs.core.rights import CREW, VERIFIER
from jobs.core.states import S
from jobs.notices.models import Message, MessageFile, Received, State
from utilities import paperlines
from utilities.endings import WITHDRAWN
from utilities.models import DeskSheet, FitRequest, Outcome, ProfileVersion, RevisionTask, Service, Storm, Utility, Visit

Kwargs = dict[str, Any]


class NotInDemo(Exception):
    """The demo holds nothing of this sort, which it should."""


def one(rows: QuerySet[Any], what: str) -> Any:
    found = rows.first()
    if found is None:
        raise NotInDemo(f"The demo holds no {what}.")
    return found


def by_code(rows: Callable[[], QuerySet[Any]], what: str) -> Callable[[], Kwargs]:
    return lambda: {"code": one(rows(), what).code}


def by_uid(rows: Callable[[], QuerySet[Any]], what: str) -> Callable[[], Kwargs]:
    return lambda: {"uid": one(rows(), what).uid}


def user(role: str) -> User:
    found: User = one(User.objects.filter(is_demo=True, is_active=True, groups__name=role).order_by("pk"), f"sign-in of the role {role}")
    return found


# Homes.


def homes(state: S) -> Callable[[], QuerySet[Job]]:
    return lambda: Job.objects.in_state(state).oldest_first()


def crews_homes() -> QuerySet[Job]:
    return Job.objects.seen_by(user(CREW)).in_state(S.IN_BUILD).order_by("pk")


def broken_seal_homes() -> QuerySet[Job]:
    return Job.objects.filter(facts__kind=k.SEAL_SEEN, facts__value__state="broken")


def spanish_homes() -> QuerySet[Job]:
    return Job.objects.filter(parties__person__language="es").in_state(S.AWAITING_UTILITY)


def held_homes() -> QuerySet[Job]:
    return Job.objects.filter(pk__in=Hold.objects.standing(clock.office_today()).values("job"))


def corrected_homes() -> QuerySet[Job]:
    return Job.objects.filter(pk__in=Fact.objects.filter(replaces__isnull=False).values("job"))


def removed_homes() -> QuerySet[Job]:
    return Job.objects.filter(pk__in=Fact.objects.standing().of_kind(k.COLLAR_REMOVED).values("job"))


def two_meter_homes() -> QuerySet[Job]:
    doubled = [row.job_id for row in Service.objects.all() if Service.objects.filter(job=row.job_id).count() > 1]
    return Job.objects.filter(pk__in=doubled)


def fact_to_correct() -> Kwargs:
    facts = Fact.objects.standing().filter(job__in=homes(S.AWAITING_UTILITY)()).of_kind(k.COMMISSIONED)
    return {"uid": one(facts, "fact to correct").uid}


def ct_checks(verdict: str) -> Callable[[], QuerySet[Fact]]:
    return lambda: Fact.objects.standing().of_kind(k.CT_CHECK).filter(value__verdict=verdict)


# Collars, bags and papers.


def collars() -> QuerySet[Collar]:
    return Collar.objects.filter(job__isnull=False).order_by("pk")


def running_out() -> QuerySet[ExpiringPaper]:
    return paperlines.before_the_collar(ExpiringPaper.objects.all()).filter(kind="permit").order_by("expires_on", "pk")


def papers() -> QuerySet[ExpiringPaper]:
    return ExpiringPaper.objects.standing()


def authorities() -> QuerySet[Authority]:
    return Authority.objects.all()


def told_at_bags() -> QuerySet[BagReport]:
    return BagReport.objects.waiting()


def designed() -> QuerySet[Job]:
    return Job.objects.filter(pk__in=DesignDocument.objects.values("job")).order_by("pk")


def revision_tasks() -> QuerySet[RevisionTask]:
    return RevisionTask.objects.open().order_by("pk")


def sheets() -> QuerySet[DeskSheet]:
    return DeskSheet.objects.order_by(F("released_at").desc(nulls_last=True), "pk")


def storms() -> QuerySet[Storm]:
    return Storm.objects.standing()


def unreleased_sheets() -> QuerySet[DeskSheet]:
    return DeskSheet.objects.prepared()


def tag_token() -> Kwargs:
    """A tag of the demo, printed anew for the picture: what its token is stands on paper only."""
    return {"token": tags.make_tag(one(homes(S.AWAITING_UTILITY)(), "home that waits"), by=actors.command("pictures")).token}


def bag_link() -> Kwargs:
    return {
        "token": links.token_of(
            one(SignedLink.objects.filter(purpose="bag_photo", job__in=homes(S.AWAITING_UTILITY)()), "link to send a photo of the bag")
        )
    }


# Requests.


def cut_overs(verdict: str) -> Callable[[], QuerySet[Fact]]:
    return lambda: Fact.objects.standing().filter(kind=k.METER_CUT_OVER, value__verdict=verdict)


def cut_over_homes() -> QuerySet[Job]:
    return Job.objects.filter(state=S.COLLAR_ENERGIZED, facts__kind=k.METER_CUT_OVER).filter(facts__kind=k.BACKUP_LIMITS).distinct()


def other_serial_homes() -> QuerySet[Job]:
    return Job.objects.filter(next_act__startswith="Clear the serial")


def visits(**filters: Any) -> Callable[[], QuerySet[SiteVisit]]:
    return lambda: SiteVisit.objects.filter(**filters)


def records(**filters: Any) -> Callable[[], QuerySet[VerificationRecord]]:
    return lambda: VerificationRecord.objects.filter(**filters)


def standing_records() -> QuerySet[VerificationRecord]:
    return VerificationRecord.objects.filter(result="passed", job__state=S.BACKUP_VERIFIED, additions__isnull=True)


def open_requests() -> QuerySet[FitRequest]:
    return FitRequest.objects.open().filter(job__isnull=False).order_by("filed_on")


def reported_requests() -> QuerySet[FitRequest]:
    """Whose fitting was reported and is not confirmed."""
    told = Fact.objects.standing().of_kind(k.FITTING_REPORTED)
    return open_requests().filter(job__in=told.values("job"))


def changed_requests() -> QuerySet[FitRequest]:
    return open_requests().filter(change_orders__isnull=False)


def closed_there() -> QuerySet[FitRequest]:
    return open_requests().filter(closed_there_on__isnull=False)


def withdrawn_requests() -> QuerySet[FitRequest]:
    return FitRequest.objects.filter(job__isnull=False, end_reason=WITHDRAWN)


def with_versions() -> QuerySet[Utility]:
    return Utility.objects.annotate(n=Count("versions")).filter(n__gt=1)


def versions() -> QuerySet[ProfileVersion]:
    return ProfileVersion.objects.filter(valid_to__isnull=True)


def request_uid() -> Kwargs:
    return {"uid": one(open_requests(), "open request").uid}


def of_outcome(outcome: Outcome) -> Callable[[], QuerySet[FitRequest]]:
    return lambda: FitRequest.objects.filter(outcome=outcome, job__isnull=False).order_by("-ended_on")


def busiest() -> QuerySet[Utility]:
    return Utility.objects.filter(pk=one(open_requests(), "open request").utility_id)


def unasked() -> QuerySet[Service]:
    return Service.objects.filter(job__in=homes(S.GRID_TIED)(), requests__isnull=True)


# Messages.


def messages(*states: State) -> Callable[[], QuerySet[Message]]:
    return lambda: Message.objects.in_state(*states).order_by("-pk")


def replies() -> QuerySet[Received]:
    return Received.objects.waiting().order_by("pk")


def texted_homes() -> QuerySet[Job]:
    return Job.objects.filter(messages__channel="text").order_by("pk")


def to_release() -> QuerySet[Message]:
    # About a call where there is one: its text is the longest.
    owed = Message.objects.in_state(State.OWED)
    return owed.filter(kind__startswith="call") or owed


def file_of_message() -> Kwargs:
    found = one(MessageFile.objects.filter(content_type="application/pdf"), "message with a PDF")
    return {"uid": found.message.uid, "position": found.position}


# Calls.


def calls(*states: AppointmentState) -> Callable[[], QuerySet[Appointment]]:
    return lambda: Appointment.objects.filter(state__in=states).order_by("-starts_at")


def to_come() -> QuerySet[Appointment]:
    return Appointment.objects.taking().filter(call__isnull=True, starts_at__gt=clock.now()).order_by("starts_at")


def with_record(result: str) -> Callable[[], QuerySet[Appointment]]:
    return lambda: Appointment.objects.filter(record__result=result).order_by("-starts_at")


def running() -> QuerySet[Appointment]:
    return Appointment.objects.filter(pk__in=CallRecord.objects.running().values("appointment"), verifier=user(VERIFIER))


def press_on_call() -> Kwargs:
    press = one(Press.objects.standing().filter(call__appointment__in=running(), what__startswith="mid"), "press on a running call")
    return {"uid": press.call.appointment.uid, "press_uid": press.uid}


def bookable() -> QuerySet[Job]:
    energized = homes(S.COLLAR_ENERGIZED)().exclude(pk__in=Appointment.objects.taking().values("job"))
    return Job.objects.filter(pk__in=[job.pk for job in energized if is_ready(job)])


def is_ready(job: Job) -> bool:
    return not readiness.missing_for_booking(job, clock.today_in(job.site.zone))


def call_link(state: AppointmentState, *, takable: bool = True) -> Callable[[], Kwargs]:
    """A homeowner's link to a call to come. takable: of a home that is ready, so that the page asks."""

    def kwargs() -> Kwargs:
        to_come = Appointment.objects.filter(state=state, starts_at__gt=clock.now(), call__isnull=True).select_related("job__site")
        named = [str(call.uid) for call in to_come if takable == is_ready(call.job)]
        what = f"link to a call {state.label}, of a home that is {'' if takable else 'not '}ready"
        return {"token": links.token_of(one(SignedLink.objects.filter(about__in=named, expires_at__gt=clock.now()), what))}

    return kwargs


def feed_token() -> Kwargs:
    return {"token": feeds.renew_feed(user(VERIFIER), by=actors.command("pictures"))}


def moving() -> dict[str, str]:
    """The plan with the row of one ready home being moved."""
    ready = worklists.lists(Job.objects.all()).ready
    return {"move": ready[0].job.code} if ready else {}


def week_of_tentative() -> dict[str, str]:
    row = Tentative.objects.standing().first()
    return {"on": row.local_date.isoformat()} if row else {}


def ended_call_link() -> Kwargs:
    ended = one(SignedLink.objects.filter(purpose="call", expires_at__lte=clock.now()), "link that has ended")
    return {"token": links.token_of(ended)}


# Money.


def invoices(state: str, **more: Any) -> Callable[[], QuerySet[Invoice]]:
    return lambda: Invoice.objects.filter(state=state, **more).order_by("pk")


def unapplied() -> QuerySet[Payment]:
    return Payment.objects.with_left().filter(Q(left_minor__gt=0))


def owing_payer() -> dict[str, str]:
    owed = one(Invoice.objects.with_left().filter(Q(left_minor__gt=0), state="released"), "open invoice")
    return {"payer": str(owed.payer.uid)}


def unplanned() -> QuerySet[Job]:
    return Job.objects.in_state(S.IN_BUILD).exclude(pk__in=Invoice.objects.values("job"))


def planned() -> QuerySet[Job]:
    return Job.objects.filter(pk__in=Milestone.objects.filter(invoice__isnull=False).values("job"))


def runs(**filters: Any) -> Callable[[], QuerySet[ImportRun]]:
    return lambda: ImportRun.objects.filter(kind="jobs", **filters)


def documents() -> QuerySet[Document]:
    return Document.objects.all()


def services() -> QuerySet[Service]:
    return Service.objects.exclude(meter_number="")


def least_history() -> QuerySet[Utility]:
    fitted = Count("requests", filter=Q(requests__outcome=Outcome.FITTED))
    return Utility.objects.annotate(fitted=fitted).filter(requests__outcome=Outcome.OPEN).order_by("fitted", "pk")


def announced_visits() -> QuerySet[Visit]:
    return Visit.objects.pending()


def not_bookable() -> QuerySet[Job]:
    taken = Appointment.objects.taking().values("job")
    return homes(S.COLLAR_ENERGIZED)().exclude(pk__in=bookable().values("pk")).exclude(pk__in=taken)


def open_invoices() -> QuerySet[Invoice]:
    return Invoice.objects.with_left().filter(Q(left_minor__gt=0), state="released").order_by("pk")


def late_invoices() -> QuerySet[Invoice]:
    return open_invoices().filter(due_on__lt=clock.office_today())


def paid_invoices() -> QuerySet[Invoice]:
    return Invoice.objects.with_left().filter(Q(left_minor__lte=0), state="released").order_by("pk")


def spanish_invoices() -> QuerySet[Invoice]:
    return Invoice.objects.filter(state="released", payer__person__language="es")


def disputed_invoices() -> QuerySet[Invoice]:
    return Invoice.objects.disputed()


def credit_notes() -> QuerySet[CreditNote]:
    return CreditNote.objects.order_by("number")


def waivers() -> QuerySet[Waiver]:
    return Waiver.objects.order_by("pk")


def bank_lines() -> QuerySet[BankLine]:
    return BankLine.objects.open()


def lenders() -> QuerySet[Payer]:
    return Payer.objects.filter(person__isnull=True, invoices__number__isnull=False).distinct().order_by("pk")


def changed() -> QuerySet[Job]:
    return Job.objects.filter(change_orders__isnull=False)


def wanting() -> QuerySet[Job]:
    return Job.objects.filter(milestones__in=Milestone.objects.exclude(wants=[])).distinct().order_by("pk")


def questioned_invoices() -> QuerySet[Invoice]:
    return Invoice.objects.exclude(milestone__question="")


def payments() -> QuerySet[Payment]:
    return Payment.objects.with_left().filter(Q(left_minor=0)).order_by("pk")


def this_quarter() -> dict[str, str]:
    """Ninety days up to today, as they are typed."""
    today = clock.office_today()
    return {"from_on": (today - dt.timedelta(days=90)).isoformat(), "to_on": today.isoformat()}
