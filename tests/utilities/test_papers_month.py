"""November played day by day: three permits, one of which runs out before its collar is likely. Every figure is worked out by hand.

The stored forecast is made here so that hands can follow it: as of 31 October p in 100 are fitted after p days, and the utility works every
day. So half are fitted by day 50, which is 20 December; by day d the chance is d in 100.
"""

from __future__ import annotations

import datetime as dt

import pytest
from django.test import Client
from django.urls import reverse

from jobs.core import clock, expiring
from jobs.core.facts import Said
from jobs.core.models import ExpiringPaper, Job
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices import outbox
from jobs.notices.models import Message
from jobs.notices.models import State as MessageState
from tests.make import make_job, serial_of, user_of
from tests.utilities.made import make_request, make_service, make_utility
from utilities import attention_papers, extension, leadtimes, paperlines, requests, visits
from utilities.models import Forecast, ForecastRun

pytestmark = pytest.mark.django_db
D = dt.date
AS_OF = D(2026, 10, 31)
ISSUED = D(2026, 5, 24)


def noon(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(19), dt.UTC)


class Month:
    """Three homes that wait at one utility since 3 August, each with a permit."""

    def __init__(self, theo) -> None:
        self.theo = theo
        utility = make_utility("Ottermere Municipal Light", worked_weekdays=(0, 1, 2, 3, 4, 5, 6), holidays="none")
        authority = expiring.add_authority("City of Ottermere", email="permits@ottermere.example", by=theo)
        run = ForecastRun.objects.create(as_of=AS_OF, rule="nightly", begun_at=noon(AS_OF), method="by hand")
        self.papers: dict[str, ExpiringPaper] = {}
        self.requests = {}
        # 30 November is day 30, 20 December day 50, 19 January day 80.
        for name, until in (("early", D(2026, 11, 30)), ("even", D(2026, 12, 20)), ("late", D(2027, 1, 19))):
            request = make_request(make_service(make_job(S.GRID_TIED, owner=f"Home {name}"), utility=utility), on=D(2026, 8, 3))
            requests.record_sent_again(request, on=D(2026, 9, 14), by=theo)
            requests.record_contact(request, on=D(2026, 10, 5), answered="nothing new", by=theo)
            Forecast.objects.create(
                run=run,
                utility=utility,
                request=request,
                as_of=AS_OF,
                filed_on=request.filed_on,
                offsets=leadtimes.pack(range(1, 100)),
                half_on=AS_OF + dt.timedelta(days=50),
                p_never_millionths=0,
                why={},
            )
            assert request.job is not None
            self.requests[name] = request
            self.papers[name] = expiring.add_paper(
                request.job,
                kind="permit",
                number=f"B-{name}",
                issued_on=ISSUED,
                expires_on=until,
                lead_days=10,
                renewing="a letter and $45",
                authority=authority,
                by=theo,
            )

    def today(self, name: str) -> list[tuple[str, ...]]:
        """Rows of a section of the scheduler's Today: margin, home, chance."""
        (section,) = [one for one in attention_papers.sections(user_of(self.theo)) if one.name == name]
        assert section.count == len(section.rows)
        return [(row.margin, row.title, row.cells[-1]) for row in section.rows]

    def listed(self) -> list[tuple[str, str, bool]]:
        rows = paperlines.lines(paperlines.with_parts(ExpiringPaper.objects.standing()), today=clock.office_today())
        return [(line.paper.number, line.collar, line.lapses_first) for line in rows]


def test_a_month_of_three_permits(theo, dana):
    with clock.pretend(noon(D(2026, 11, 2))):
        month = Month(theo)

    with clock.pretend(noon(D(2026, 11, 3))):
        assert month.listed() == [
            ("B-early", "30 in 100 that it is in by then", True),
            ("B-even", "50 in 100 that it is in by then", False),
            ("B-late", "80 in 100 that it is in by then", False),
        ]
        assert month.today("papers_before_collar") == [("30 Nov 2026", "Home early", "30 in 100 that it is in by then")]
        assert month.today("papers_soon") == []
        (line,) = paperlines.of_job(month.papers["early"].job)
        assert line.act_by == D(2026, 11, 20)

    # On the list the same row, on the page the same sentence, and in the letter the days of the request.
    with clock.pretend(noon(D(2026, 11, 4))):
        client = Client()
        client.force_login(user_of(theo), backend="django.contrib.auth.backends.ModelBackend")
        page = client.get(reverse("papers"), {"collar": "before"}).content.decode()
        assert page.count("runs out before the collar is likely</b>") == 1
        assert "30 in 100 that it is in by then" in page
        job_page = client.get(reverse("job", kwargs={"code": month.papers["early"].job.code})).content.decode()
        assert "permit B-early runs out on 30 November 2026" in job_page

        refused = client.post(reverse("paper_do", kwargs={"uid": month.papers["early"].uid, "what": "letter"}), {"until": "30 Nov 2026"})
        assert refused.status_code == 422
        assert "The permit holds until 30 November 2026; a later day is wanted." in refused.content.decode()
        client.post(reverse("paper_do", kwargs={"uid": month.papers["early"].uid, "what": "letter"}), {"until": "28 Feb 2027"})
        message = Message.objects.get(kind=extension.LETTER)
        text = " ".join(outbox.preview(message).text.split())
        assert "Permit B-early for" in text
        assert "issued on Sunday, May 24, 2026, expires on Monday, November 30, 2026." in text
        assert "We asked Ottermere Municipal Light for it on Monday, August 3, 2026, and again on Monday, September 14, 2026." in text
        assert "We have asked about it 1 time since, last on Monday, October 5, 2026." in text
        assert "extend it in writing until Sunday, February 28, 2027." in text
        assert "Home early" not in text
        assert message.state == MessageState.OWED  # nothing leaves before a person has read it
        with pytest.raises(Refused, match="is written already"):
            extension.write_for_extension(month.papers["early"], until=D(2027, 2, 28), by=theo)
        outbox.release(message, by=theo)

    # The request of the second home is answered: its collar goes in on 17 November.
    with clock.pretend(noon(D(2026, 11, 18))):
        visits.confirm_fitting(
            month.requests["even"], by_on=D(2026, 11, 17), said_by=Said("utility"), serial=serial_of(job_of(month, "even")), by=theo
        )
        assert ("B-even", "the collar is in", False) in month.listed()

    # Nobody has answered: the paper has run out, and stands until somebody does something.
    with clock.pretend(noon(D(2026, 12, 2))):
        (section,) = [one for one in attention_papers.sections(user_of(theo)) if one.name == "papers_before_collar"]
        assert [(row.title, row.late) for row in section.rows] == [("Home early", "ran out two days ago")]

        # The extension comes late, with its own day: until 29 January, day 90.
        expiring.extend_paper(month.papers["early"], granted_on=D(2026, 11, 30), expires_on=D(2027, 1, 29), reference="E-9", by=dana)
        assert month.today("papers_before_collar") == []
        assert month.listed() == [
            ("B-even", "the collar is in", False),
            ("B-late", "80 in 100 that it is in by then", False),
            ("B-early", "90 in 100 that it is in by then", False),
        ]
        paper = ExpiringPaper.objects.get(number="B-early")
        assert (paper.first_expires_on, paper.expires_on) == (D(2026, 11, 30), D(2027, 1, 29))


def job_of(month: Month, name: str) -> Job:
    return month.papers[name].job


def test_a_letter_is_not_due_any_more_once_the_permit_was_extended(theo):
    with clock.pretend(noon(D(2026, 11, 2))):
        month = Month(theo)
        paper = month.papers["early"]
        message = extension.write_for_extension(paper, until=D(2027, 2, 28), by=theo)
        expiring.extend_paper(paper, granted_on=D(2026, 11, 2), expires_on=D(2027, 1, 29), by=theo)

        with pytest.raises(Refused, match="The permit was extended meanwhile: until 29 January 2027"):
            outbox.release(message, by=theo)


def test_authority_and_utility_that_wait_for_each_other_are_shown_as_such(theo):
    with clock.pretend(noon(D(2026, 11, 2))):
        month = Month(theo)
        paper = month.papers["late"]
        assert paper.authority is not None
        expiring.change_authority(paper.authority, email=paper.authority.email, finals_before_collar="no", by=theo)
        assert month.today("each_waits") == []

        expiring.hand_over(paper, owner=user_of(theo), lead_days=10, utility_wants_final="yes", by=theo)
        assert [row[:2] for row in month.today("each_waits")] == [("19 Jan 2027", "Home late")]
        assert paperlines.is_deadlock(ExpiringPaper.objects.get(pk=paper.pk))

        # Its final came all the same: nothing hangs any more.
        from jobs.core import homefacts

        homefacts.record_final_inspection(paper.job, on=D(2026, 11, 2), by=theo)
        assert month.today("each_waits") == []


def test_a_paper_that_expires_before_its_issue_is_refused_with_what_was_typed_kept(theo):
    job = make_job(S.GRID_TIED)
    client = Client()
    client.force_login(user_of(theo), backend="django.contrib.auth.backends.ModelBackend")
    typed = {"kind": "permit", "number": "B-77", "issued_on": "4 Nov 2026", "expires_on": "3 Nov 2026", "lead_days": "21"}

    answer = client.post(reverse("paper_new", kwargs={"code": job.code}), typed)

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "It would expire on 3 November 2026, and it was issued on 4 November 2026; a later last day is wanted." in page
    for kept in ("B-77", "4 Nov 2026", "3 Nov 2026", 'value="21"'):
        assert kept in page
    assert not ExpiringPaper.objects.exists()


def test_of_a_home_not_asked_for_yet_the_chance_says_if_asked_by_when(theo):
    with clock.pretend(noon(D(2026, 11, 2))):
        service = make_service(make_job(S.GRID_TIED))
        run = ForecastRun.objects.create(as_of=AS_OF, rule="nightly", begun_at=noon(AS_OF), method="by hand")
        told = {"run": run, "utility": service.utility, "as_of": AS_OF, "filed_on": D(2026, 11, 9), "p_never_millionths": 0, "why": {}}
        Forecast.objects.create(**told, job=service.job, offsets=leadtimes.pack([65_535] * 99), half_on=None)
        expiring.add_paper(service.job, kind="lender", issued_on=ISSUED, expires_on=D(2026, 12, 31), by=theo)

        (line,) = paperlines.of_job(service.job)

        # Beyond the horizon of the dates nothing is known to be fitted: later than anything said, so the paper runs out first.
        assert line.collar.endswith("if asked by 9 November 2026")
        assert line.lapses_first
        assert paperlines.before_the_collar(ExpiringPaper.objects.all()).count() == 1
