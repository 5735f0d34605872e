"""The desks' day of many open requests: how many queries, and how long beside the same rows by one hand-written SQL statement.

    python -m tests.bench.desks [--requests 10000]

On a PostgreSQL of its own: 40 utilities, three contacts a request, one request in five with a promise, one home in fifty on hold. Run by
hand; prints ratios.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import random
import time
import uuid

UTILITIES = 40
TODAY_LESS = 200  # days back, over which requests were sent
TIMES = 5

BY_HAND = """
SELECT r.id, r.utility_id, r.job_id, r.filed_on, r.acknowledged_on, j.next_due_on, j.imported_on,
       h."on", h.promised_by, h.next_on, a."on", v.visited_on, f.half_on
FROM utilities_fitrequest r
JOIN core_job j ON j.id = r.job_id
LEFT JOIN (SELECT DISTINCT ON (request_id) request_id, "on", promised_by, next_on FROM utilities_contact
           WHERE NOT withdrawn AND answered <> '' ORDER BY request_id, "on" DESC, id DESC) h ON h.request_id = r.id
LEFT JOIN (SELECT request_id, max("on") AS "on" FROM utilities_contact WHERE NOT withdrawn AND ours GROUP BY request_id) a
       ON a.request_id = r.id
LEFT JOIN (SELECT request_id, max(visited_on) AS visited_on FROM utilities_visit WHERE NOT withdrawn AND outcome <> ''
           GROUP BY request_id) v
       ON v.request_id = r.id
LEFT JOIN (SELECT request_id, max(half_on) AS half_on FROM utilities_forecast WHERE "first" GROUP BY request_id) f ON f.request_id = r.id
WHERE r.outcome = 'open' AND r.closed_there_on IS NULL AND j.waiting_on = 'utility'
"""


def fill(requests: int, *, today: dt.date) -> None:
    """Rows as the acts leave them, written in bulk: the acts themselves are not what is measured."""
    from jobs.core import clock
    from jobs.core.actors import command
    from jobs.core.models import Hold, Job, Site
    from jobs.core.states import S
    from utilities import profile
    from utilities.models import Contact, FitRequest, Service, Utility
    from utilities.requests import fresh_codes

    chance, now = random.Random(8), clock.now()
    for number in range(UTILITIES):
        told = profile.Profile(name=f"Utility {number}", zone="America/Denver", emergency_phone="+13035550111")
        profile.add_utility(told, by=command("bench"))
    utilities = list(Utility.objects.order_by("pk"))
    codes = fresh_codes(2 * requests)
    sites = Site.objects.bulk_create(
        Site(street=f"{n} Mill Road", city="Ottermere", region="CO", zone="America/Denver") for n in range(requests)
    )
    jobs = Job.objects.bulk_create(
        Job(
            code=codes[n], site=site, has_battery=True, state=S.AWAITING_UTILITY, waiting_on="utility",
            next_act="Ask the utility about the request", next_due_on=today + dt.timedelta(days=chance.randrange(-5, 40)),
        )
        for n, site in enumerate(sites)
    )  # fmt: skip
    services = Service.objects.bulk_create(
        Service(job=job, utility=chance.choice(utilities), meter_number=str(n)) for n, job in enumerate(jobs)
    )
    asked = FitRequest.objects.bulk_create(
        FitRequest(
            code=codes[requests + n], service=service, job=service.job, utility=service.utility,
            filed_on=today - dt.timedelta(days=TODAY_LESS + chance.randrange(60)), changed_at=now,
            recorded_at=now, recorded_by_name="bench",
        )
        for n, service in enumerate(services)
    )  # fmt: skip
    Contact.objects.bulk_create(
        Contact(
            request=request, utility=request.utility, on=(on := today - dt.timedelta(days=5 + 50 * turn + chance.randrange(30))),
            answered="nothing new", promised_by=on + dt.timedelta(days=chance.randrange(40)) if chance.random() < 0.2 else None,
            recorded_at=now, recorded_by_name="bench",
        )
        for turn in range(3)
        for request in asked
    )  # fmt: skip
    Hold.objects.bulk_create(
        Hold(
            uid=uuid.uuid4(), job=job, kind="storm", stops=["reminders"], from_on=today, review_on=today + dt.timedelta(days=9),
            reason="ice", by_name="bench",
        )
        for job in jobs[::50]
    )  # fmt: skip


def measure(requests: int) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from jobs.core import clock
    from utilities import deskday
    from utilities.models import FitRequest

    today = clock.office_today()
    fill(requests, today=today)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    some = FitRequest.objects.filter(pk__in=list(FitRequest.objects.order_by("pk").values_list("pk", flat=True)[: requests // 10]))
    with CaptureQueriesContext(connection) as few:
        deskday.desks(some, today=today)
    with CaptureQueriesContext(connection) as queries:
        found = deskday.desks(FitRequest.objects.all(), today=today)
    ours = hand = float("inf")
    for _ in range(TIMES):
        begun = time.perf_counter()
        deskday.desks(FitRequest.objects.all(), today=today)
        ours = min(ours, time.perf_counter() - begun)
        begun = time.perf_counter()
        with connection.cursor() as cursor:
            cursor.execute(BY_HAND)
            rows = cursor.fetchall()
        hand = min(hand, time.perf_counter() - begun)
    about = sum(len(desk.about) for desk in found)
    print(
        f"{requests:,} open requests: {len(queries)} queries (of a tenth of them {len(few)}), {len(found)} desks about {about:,} requests; "
        f"{ours / hand:.2f} of the time of one SQL statement ({len(rows):,} rows, {ours * 1000:.0f} ms against {hand * 1000:.0f} ms)"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--requests", type=int, default=10_000)
    given = parser.parse_args()
    from tests.bench.notices import office

    with office(25):
        measure(given.requests)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    main()
