"""The metering cut over to the collar, the limits that are entered, and the gateway's report against what is registered."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.urls import reverse

from jobs.core import cutover, facts, fittedpage, homefacts
from jobs.core import kinds as k
from jobs.core.charts.marks import Dot, Line
from jobs.core.charts.paired import Difference, paired
from jobs.core.cutover import Read
from jobs.core.models import Fact
from jobs.core.pairs import Pair
from jobs.core.refusals import Refused
from jobs.core.states import S
from tests.make import make_job

AT = dt.datetime(2026, 11, 17, 21, 0, tzinfo=dt.UTC)
READS = [
    Read(f"14:0{n}", Pair(cts, collar))
    for n, (cts, collar) in enumerate([(310, 300), (615, 620), (1_512, 1_500), (2_195, 2_200), (3_420, 3_400), (-790, -800)])
]


@pytest.fixture
def job(db):
    return make_job(S.COLLAR_ENERGIZED)


def cut(job, by, **changed):
    given = {"at": AT, "readings": READS, "meter": cutover.COLLAR, "old_cts": cutover.WITHDRAWN, **changed}
    return cutover.record_cut_over(job, by=by, **given)


def test_the_collar_becomes_the_sites_meter_with_its_paired_readings(job, mara):
    fact = cut(job, mara)

    assert fact.value["verdict"] == "consistent"
    # Differences 10, -5, 12, -5, 20, 10: row C20.
    assert fact.value["numbers"] == {"bias_w": 7.0, "spread_w": 10.0, "low_w": -12.6, "high_w": 26.6}
    assert fact.value["pairs"][5] == ["14:05", -790, -800]


@pytest.mark.parametrize(
    ("changed", "sentence", "field"),
    [
        ({"old_cts": cutover.STILL}, "names two meters", "old_cts"),
        ({"meter": cutover.CTS}, "leaves no meter", "old_cts"),
        ({"old_cts": cutover.REMOVED}, "Name the electrician", "electrician"),
        ({"old_cts": cutover.LEFT}, "Name the electrician", "electrician"),
        ({"readings": READS[:1]}, "Two pairs at least", "readings"),
        ({"readings": [*READS, Read("15:00", Pair(400_000, 300))]}, "cannot be at a home", "readings"),
    ],
)
def test_two_meters_none_and_what_cannot_be_are_refused(job, mara, changed, sentence, field):
    with pytest.raises(Refused, match=sentence) as refused:
        cut(job, mara, **changed)

    assert refused.value.field == field
    assert not Fact.objects.of_kind(k.METER_CUT_OVER).exists()


def test_limits_are_figures_that_somebody_answers_for(job, mara):
    on = dt.date(2026, 11, 17)
    refused: tuple[tuple[dict[str, Any], str], ...] = (
        ({}, "Enter one limit"),
        ({"floor_percent": 400}, "400 % cannot be"),
        ({"continuous_w": 0}, "limit of nothing"),
        ({"floor_percent": 95, "taper_percent": 90}, "floor must lie below"),
    )
    for given, sentence in refused:
        with pytest.raises(Refused, match=sentence):
            cutover.record_backup_limits(job, on=on, entered_by="Ana Ortiz", by=mara, **given)
    with pytest.raises(Refused, match="who read the limits"):
        cutover.record_backup_limits(job, on=on, entered_by=" ", continuous_w=7_600, by=mara)

    cutover.record_backup_limits(job, on=on, entered_by="Ana Ortiz", continuous_w=7_600, floor_percent=20, by=mara)

    entered = fittedpage.entered_of(job)
    assert entered is not None
    assert entered.by == "Ana Ortiz"
    assert dict(entered.lines)["Continuous power"] == "7,600\u202fW"
    assert dict(entered.lines)["Usable energy"] == "not entered"


def test_sheet_two_is_for_a_verified_home_only(job, mara):
    with pytest.raises(Refused, match="not verified"):
        cutover.record_sheet_two_given(job, on=dt.date(2026, 11, 17), to="Guadalupe", language="es", by=mara)


def test_another_serial_is_said_with_both_and_asks_for_a_photo(job, mara, client):
    serial = facts.of(job).serial
    homefacts.record_gateway_report(job, at=AT, state="closed", serial="LC-99999", firmware="4.2", by=mara)

    job.refresh_from_db()
    assert job.state == S.AWAITING_UTILITY, "a serial that is another's keeps the home from being energized"
    client.force_login(mara.user)
    page = client.get(reverse("fitted_collar", kwargs={"code": job.code})).content.decode()
    assert f"another collar is reported: LC-99999, registered is {serial}" in page
    assert "Ask the homeowner or the utility for a photo" in page
    with pytest.raises(Refused, match="must not follow another home's meter"):
        cut(job, mara)


def test_what_is_missing_of_the_metering_is_named_and_goes_when_it_is_there(job, mara):
    assert fittedpage.wanted_of(job, facts.of(job)) == [
        "the metering, cut over with paired readings",
        "the limits of the backup, entered",
    ]

    cut(job, mara)

    assert fittedpage.wanted_of(job, facts.of(job)) == ["the limits of the backup, entered"]


def test_the_form_keeps_what_was_typed_and_says_which_line_is_no_pair(job, mara, client):
    client.force_login(mara.user)
    address = reverse("record", kwargs={"code": job.code, "what": "cut-over"})
    typed = "\n".join(f"{read.time}, {read.pair.cts_w}, {read.pair.collar_w}" for read in READS)
    given = {"on": "17 Nov 2026", "time": "14:10", "meter": cutover.COLLAR, "old_cts": cutover.WITHDRAWN}

    refused = client.post(address, {**given, "readings": f"{typed}\n14:06, much"})
    assert refused.status_code == 422
    assert "&quot;14:06, much&quot; is not a pair" in refused.content.decode()
    assert "3420, 3400" in refused.content.decode()
    answer = client.post(address, {**given, "readings": typed.replace("-", "\u2212")}, follow=True)

    page = answer.content.decode()
    assert "The collar is the site" in page
    assert "Bias 7.0 W, limits of agreement \u221212.6 to 26.6 W" in page


def test_each_difference_has_its_place_between_the_two_limits():
    dots = [Difference(840 + n, watts) for n, watts in enumerate((10, -5, 12, -5, 20, 10))]
    chart = paired(name="paired", dots=dots, bias_w=7, low_w=-12.6, high_w=26.6, label="six")

    drawn = [mark for mark in chart.marks if isinstance(mark, Dot)]
    low, high = sorted(mark.y1 for mark in chart.marks if isinstance(mark, Line) and mark.dashed)
    assert len(drawn) == 6
    assert all(low < dot.y < high for dot in drawn)
    # One scale: 10 W apart is as far between two dots as it is between others.
    assert drawn[1].y - drawn[0].y == pytest.approx((drawn[3].y - drawn[4].y) * 15 / 25)
    assert [mark.words for mark in chart.words if mark.words.startswith(("limit", "bias"))] == [
        "limit 27 W",
        "bias 7 W",
        "limit \u221213 W",
    ]


@pytest.mark.parametrize("count", [1, 2, 50])
def test_no_two_labels_of_the_paired_readings_meet(count):
    dots = [Difference(840 + n, 7) for n in range(count)]
    chart = paired(name="paired", dots=dots, bias_w=7, low_w=7, high_w=7, label="same")
    labels = chart.words
    for place, label in enumerate(labels):
        assert label.box.inside(chart.width, chart.height), label.words
        assert not any(label.box.meets(other.box) for other in labels[place + 1 :]), label.words
