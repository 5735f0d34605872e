"""The demo's company, lived through once: every state and every awkward case is in it, all of it is sound, and nothing was sent."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.conf import settings
from django.db import connection, transaction
from django.db.models import Count, Q
from django.urls import reverse
from pytest_django import DjangoDbBlocker

from billing import figures
from billing.models import Invoice, Payer, Payment
from billing.terms import Bucket
from jobs.appointments import readiness
from jobs.appointments.models import Appointment, AppointmentState
from jobs.core import clock, facts, homefacts
from jobs.core import kinds as k
from jobs.core.models import Fact, Job, User
from jobs.core.refusals import Refused
from jobs.core.rights import ROLES
from jobs.core.states import Facts, S
from jobs.core.waiting import open_emergency
from jobs.notices.models import Message, State
from jobs.pages import demo, reconcile
from jobs.pages.demo.awkward import LONG_NAME
from jobs.pages.demo.habits import HABITS
from jobs.pages.demo.history import NEWEST
from jobs.pages.demo.ordinary import Size
from tests.conftest import NOW
from tests.make import make_job
from utilities import outlooks, said, scoring
from utilities.models import FitRequest, Outcome, Utility, Visit
from utilities.models.scores import Source
from utilities.visits import OUTCOMES

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 11, 18)
SMALL = Size(signed=2, still_waiting=1, in_build=1, not_asked=0, just_fitted=1, replays=False, odd=False)


# These two before the whole demo is made, which then stands until the module ends.


def test_it_refuses_a_database_that_holds_other_homes():
    make_job()

    with pytest.raises(Refused, match="did not make"):
        demo.make()

    assert Job.objects.count() == 1


def test_it_is_the_same_at_any_hour_of_the_same_day():
    def told_at(hour: int) -> list[object]:
        with time_machine.travel(dt.datetime(2026, 11, 18, hour, 0, tzinfo=dt.UTC)), transaction.atomic():
            demo.make(SMALL)
            rows: list[object] = [
                *Fact.objects.order_by("pk").values_list("job__code", "kind", "day", "recorded_at", "said_by_name"),
                *Invoice.objects.order_by("pk").values_list("number", "amount_minor", "job__code", "issued_on"),
                *FitRequest.objects.order_by("pk").values_list("code", "filed_on", "ended_on"),
                *Message.objects.order_by("pk").values_list("kind", "to_name", "state", "sent_at"),
            ]
            transaction.set_rollback(True)
        return rows

    assert told_at(15) == told_at(23)


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[demo.Made]:
    """The whole demo, once for this module."""
    with django_db_blocker.unblock(), time_machine.travel(NOW, tick=True), transaction.atomic():
        demo_made = demo.make()
        # Each test ends by checking what the database leaves to the end of a transaction; done here once, it is not done again for
        # the whole demo after every test.
        connection.check_constraints()
        yield demo_made
        transaction.set_rollback(True)


def job_of(made: demo.Made, case: str) -> Job:
    return Job.objects.select_related("site").get(code=made.cases[case])


def known(job: Job) -> Facts:
    return facts.of(job)


def missing(job: Job) -> str:
    return "; ".join(gap.words for gap in readiness.missing_for_booking(job, clock.today_in(job.site.zone)))


def call_of(job: Job) -> Appointment:
    return job.appointments.latest("pk")


def messages(job: Job, state: State) -> int:
    return Message.objects.in_state(state).filter(job=job).count()


def request_of(job: Job) -> FitRequest:
    return job.fit_requests.latest("pk")


def left(job: Job, position: int = 1) -> int:
    return Invoice.objects.with_left().get(milestone__job=job, milestone__position=position).left_minor


CASES: dict[str, Callable[[Job], bool]] = {
    "long name": lambda job: job.homeowner == LONG_NAME and sum(letter.isalpha() for letter in LONG_NAME) == 40,
    "accents": lambda job: "Ł" in job.homeowner and "ż" in job.homeowner,
    "apostrophe": lambda job: "’" in job.homeowner and "'" in job.homeowner,
    "Spanish, waiting": lambda job: job.parties.get(role="owner").person.language == "es",
    "no battery": lambda job: not job.has_battery and job.state == S.AWAITING_UTILITY and not known(job).of(k.CT_CHECK),
    "120/208 V": lambda job: job.service == "120/208" and known(job).of(k.CT_CHECK)[0].value["readings"]["service"] == "120/208",
    "no e-mail": lambda job: Message.objects.filter(job=job, state=State.OWED, address="").exists(),
    "short-paid invoice": lambda job: any(0 < row.left_minor < row.amount_minor for row in Invoice.objects.with_left().filter(job=job)),
    "overpaid invoice": lambda job: any(row.left_minor == 7_500 for row in Payment.objects.unapplied().filter(payer=_payer(job))),
    "never pays": lambda job: left(job) == Invoice.objects.get(milestone__job=job, milestone__position=1).amount_minor,
    "built today 1": lambda job: job.state == S.IN_BUILD and job.install_on == TODAY and job.crew.name == "North crew",
    "draft to release 1": lambda job: job.state == S.GRID_TIED and figures.drafts().filter(job=job).exists(),
    "CT check inconsistent": lambda job: _verdict(job) == "inconsistent" and job.state == S.IN_BUILD,
    "CT check cannot tell": lambda job: _verdict(job) == "cannot tell" and job.next_act == "Repeat the CT check",
    "seal broken": lambda job: job.state == S.GRID_TIED and job.next_act == "Report the broken seal to the utility",
    "request lapsed": lambda job: "lapsed" in request_of(job).end_reason and job.next_act == "Send a new request to fit",
    "closed without fitting": lambda job: "closed" in request_of(job).end_reason and job.waiting_on == "us",
    "will not fit": lambda job: "will not fit" in request_of(job).end_reason,
    "returned as incomplete": lambda job: request_of(job).follows is not None and request_of(job).is_open,
    "sent again": lambda job: request_of(job).sendings.count() == 2,
    "promise broken": lambda job: job.next_due_on < TODAY and "promise" in job.next_act,
    "dispute hold": lambda job: "collection" in homefacts.stopped(job),
    "fact corrected": lambda job: (
        Fact.objects.filter(job=job, replaces__isnull=False).exists() and job.milestones.exclude(question="").exists()
    ),
    "payment unapplied": lambda job: Payment.objects.unapplied().filter(payer=_payer(job), reference="wire without a number").exists(),
    "two meters": lambda job: job.services.count() == 2 and job.fit_requests.open().exists() and job.state == S.COLLAR_ENERGIZED,
    "wrong serial": lambda job: job.state == S.AWAITING_UTILITY and "serial" in job.next_act,
    "collar removed": lambda job: known(job).removed is not None and job.next_act == "Tell the homeowner in writing",
    "no recipient": lambda job: messages(job, State.NO_RECIPIENT) == 1,
    "cancelled while waiting": lambda job: job.state == S.CANCELLED,
    "cancelled after day one": lambda job: job.state == S.CANCELLED and known(job).first(k.COMMISSIONED) is not None,
    "cancelled in build 1": lambda job: job.state == S.CANCELLED and known(job).first(k.COMMISSIONED) is None,
    "medical yes": lambda job: "relies on" in missing(job),
    "medical not sure": lambda job: "not sure" in missing(job),
    "no internet": lambda job: "sees the collar" in missing(job) and "communications" in missing(job),
    "no emergency line": lambda job: "emergency line" in missing(job) and job.state == S.COLLAR_ENERGIZED,
    "storm hold": lambda job: "calls" in homefacts.stopped(job),
    "hold to review today": lambda job: job.holds.get().review_on == TODAY,
    "emergency open": lambda job: open_emergency(known(job)) is not None,
    "offer unanswered": lambda job: call_of(job).state == AppointmentState.OFFERED and call_of(job).starts_at > clock.now(),
    "offer declined": lambda job: call_of(job).state == AppointmentState.DECLINED,
    "message failed": lambda job: job.messages.in_state(State.FAILED).filter(kind="call_offered").count() == 1,
    "call moved": lambda job: call_of(job).sequence == 1 and call_of(job).is_open,
    "call cancelled": lambda job: call_of(job).state == AppointmentState.CANCELLED,
    "nobody answered": lambda job: call_of(job).state == AppointmentState.MISSED,
    "call not finished": lambda job: call_of(job).record.result == "not finished",
    "test not passed": lambda job: call_of(job).record.result == "not passed" and job.state == S.COLLAR_ENERGIZED,
    "verification voided": lambda job: job.state == S.COLLAR_ENERGIZED and call_of(job).record.additions.get().voids,
    "site visit planned": lambda job: job.next_act == "Hold the site visit" and job.site_visits.get().is_open,
    "tested on site": lambda job: job.state == S.BACKUP_VERIFIED and job.verification_records.get().visit is not None,
    "mended on site": lambda job: job.next_act == "Book the verification call" and job.site_visits.get().cost_minor == 21_400,
    "relay caller": lambda job: call_of(job).places == 2,
    "Spanish, call tomorrow": lambda job: call_of(job).language == "es" and call_of(job).local_date == TODAY + dt.timedelta(days=1),
    "call today 1": lambda job: call_of(job).local_date == TODAY and call_of(job).is_open,
    "call tomorrow 1": lambda job: call_of(job).local_date == TODAY + dt.timedelta(days=1) and call_of(job).is_open,
} | {f"visit: {outcome}": (lambda job, outcome=outcome: _visit(job) == outcome) for outcome in OUTCOMES if outcome != "fitted"}


def _payer(job: Job) -> Payer:
    return job.milestones.get(position=1).payer


def _verdict(job: Job) -> object:
    return known(job).latest(k.CT_CHECK).value["verdict"]


def _visit(job: Job) -> str:
    return Visit.objects.get(request__job=job).outcome


@pytest.mark.parametrize("case", CASES)
def test_each_awkward_case_is_in_it(made, case):
    job = job_of(made, case)

    assert CASES[case](job), (job.code, job.state, job.next_act, missing(job))


def test_what_must_hold_among_the_records_holds(made):
    assert list(reconcile.breaches()) == []


def test_the_pace_alarm_names_the_utility_that_has_slowed_and_no_other(made):
    assert [each.utility.name for each in outlooks.alarms(today=TODAY)] == [habit.name for habit in HABITS if habit.slowed]


def test_it_holds_homes_in_every_state_and_a_past_of_nine_hundred_requests(made):
    states = dict(Job.objects.values_list("state").annotate(n=Count("pk")))

    assert set(states) == {state.value for state in S}
    assert 170 <= Job.objects.count() <= 195
    assert min(states.values()) >= 4
    past = FitRequest.objects.filter(job__isnull=True)
    before = past.filter(filed_on__lt=TODAY - dt.timedelta(days=NEWEST - 30))
    assert before.count() == 900
    # Of the homes that each utility was asked for this year not only those that still wait are on record.
    assert past.count() - before.count() > 27
    assert past.exclude(known_from=None).count() == 36
    assert past.filter(fitted_after__isnull=False).count() > 200
    assert past.filter(outcome=Outcome.CANCELLED).count() > 40
    assert not past.filter(outcome=Outcome.OPEN).exists()


def test_eight_utilities_in_four_zones_are_forecast_and_one_has_no_emergency_line(made):
    assert Utility.objects.count() == 8
    assert Utility.objects.values("zone").distinct().count() == 4
    assert [utility.name for utility in Utility.objects.filter(emergency_phone="")] == ["Juniper Flat Power"]
    shown = said.current_of(FitRequest.objects.open())
    assert len(shown) == FitRequest.objects.open().count()
    waits = said.of_utilities(Utility.objects.all())
    quick, slow = (waits[Utility.objects.get(name__startswith=name).pk].q50 for name in ("Ottermere", "Big"))
    assert quick is not None
    assert slow is not None
    assert quick < slow
    no_past = Utility.objects.get(name="Juniper Flat Power")
    assert waits[no_past.pk].why.thin


def test_past_days_are_replayed_so_that_the_forecasts_can_be_judged(made):
    table = scoring.table(Source.REPLAYED)

    assert table is not None
    assert table.days == 4
    assert table.whole.homes > 50
    assert table.whole.ours.skill(table.whole.spreadsheet) > 0


def test_homes_came_half_done_with_opening_balances_that_are_neither_drafted_nor_sent(made):
    brought_in = Job.objects.filter(imported_on__isnull=False)

    assert brought_in.count() == 24
    openings = [milestone for job in brought_in for milestone in job.milestones.all() if milestone.opening]
    assert len(openings) == 27
    assert not Invoice.objects.filter(milestone__in=openings).exists()


def test_overdue_money_lies_in_every_bucket(made):
    sums = figures.by_bucket(figures.receivables(), today=TODAY)

    assert all(sums[bucket] > 0 for bucket in Bucket)
    assert figures.drafts().exists()


def test_every_message_that_left_was_captured_and_none_was_written_outside_a_reserved_domain(made):
    sent = Message.objects.in_state(State.SENT, State.SENDING, State.MAY_HAVE_BEEN_SENT)

    assert sent.count() > 100
    assert all(message.captured for message in sent)
    # RFC 2606: .example; 555-0100 to 555-0199 are for fiction.
    reserved = Q(address__endswith=".example") | Q(channel="text", address__regex=r"^[+]1[0-9]{3}55501[0-9]{2}$")
    assert not Message.objects.exclude(address="").exclude(reserved).exists()
    assert Message.objects.filter(channel="text").exists()
    assert Message.objects.in_state(State.OWED).exists()


def test_nothing_in_it_was_recorded_later_than_today(made):
    midnight = dt.datetime(2026, 11, 18, 7, 0, tzinfo=dt.UTC)  # in Denver

    assert Fact.objects.filter(recorded_at__gte=midnight).count() == 0
    assert Fact.objects.filter(day__gte=TODAY).count() == 0
    assert Job.objects.open().filter(next_act="").count() == 0


@pytest.mark.parametrize("role", ROLES)
def test_each_role_signs_in_with_the_printed_password_and_sees_today(made, client, role):
    user = User.objects.filter(groups__name=role, is_demo=True).order_by("pk").first()

    assert user.check_password(settings.DEMO_PASSWORD)
    client.force_login(user)
    assert client.get(reverse("today")).status_code == 200


def test_a_page_of_every_awkward_home_can_be_opened(made, client):
    client.force_login(User.objects.get(email="dana@larchlantern.example"))

    refused = [case for case, code in made.cases.items() if client.get(reverse("job", args=[code])).status_code != 200]

    assert refused == []
