from __future__ import annotations

import datetime as dt

import pytest

from jobs.core.refusals import Refused
from tests.utilities.made import make_past, make_request, make_service, make_utility
from utilities import exports, requests, visits

pytestmark = pytest.mark.django_db

D = dt.date
BY_NAME = {export.name: export for export in exports.EXPORTS}


def table(name: str, **given: str) -> list[dict[str, object]]:
    export = BY_NAME[name]
    return [dict(zip(export.headings, row, strict=True)) for row in export.rows(given)]


def test_the_command_exports_all_requests_unless_told_which(theo):
    utility = make_utility("Sable Fork Electric Cooperative")
    fitted = make_past(utility, filed_on=D(2025, 3, 3), waited=60)
    request = make_request(make_service(utility=make_utility()), on=D(2026, 6, 3))
    visits.record_visit(request, on=D(2026, 9, 14), after_on=D(2026, 9, 10), outcome="fitted", by=theo)

    everything, here = table("requests"), table("requests", utility="sable fork electric cooperative")

    assert [row["request"] for row in everything] == [fitted.code, request.code]
    assert [row["request"] for row in here] == [fitted.code]
    assert (everything[1]["fitted_after"], everything[1]["fitted_by"], everything[1]["days"]) == (D(2026, 9, 10), D(2026, 9, 14), 103)
    # Working days from Thursday 4 June to Monday 14 September: 73 weekdays less Juneteenth, 3 July (observed) and Labor Day.
    assert everything[1]["business_days"] == 70


def test_the_contact_log_holds_what_was_asked_and_answered(theo):
    request = make_request()
    requests.record_contact(request, on=D(2026, 11, 10), asked="when?", answered="crew next week", promised_by=D(2026, 11, 16), by=theo)
    requests.record_answer(request, on=D(2026, 11, 12), answered="in line", by=theo)

    rows = table("contact_log", job=request.job.code)

    assert [(row["asked_by_us"], row["asked"], row["answered"], row["promised_by"]) for row in rows] == [
        (True, "when?", "crew next week", D(2026, 11, 16)),
        (False, "", "in line", None),
    ]


def test_utilities_are_exported_with_what_is_open_there():
    make_request(make_service(utility=make_utility("Sable Fork Electric Cooperative")), on=D(2026, 6, 3))

    (row,) = table("utilities")

    assert (row["utility"], row["open_requests"], row["oldest_sent_on"]) == ("Sable Fork Electric Cooperative", 1, D(2026, 6, 3))


def test_a_filter_that_cannot_be_read_is_refused():
    with pytest.raises(Refused, match="There is no utility “Nowhere”"):
        table("requests", utility="Nowhere")
    with pytest.raises(Refused, match="sent_from"):
        table("requests", sent_from="soon")
