"""Where each collar is: it follows from the home's facts, a swap is on record and bars, and trouble at the bag is said."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import custody, dayone, facts, homefacts, reconcile
from jobs.core import kinds as k
from jobs.core.models import BagTag, Collar, Document, Place, WithdrawnRevision
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.states import AS_LISTED, S
from tests.make import DAY_ONE, FITTED, PNG, SYSTEM, make_job, put, serial_of

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 18)


def collar_of(job) -> Collar:
    return Collar.objects.get(job=job)


def places(collar: Collar) -> list[str]:
    return [move.place for move in collar.moves.all()]


def test_a_collar_is_followed_from_the_store_to_the_socket(theo):
    job = make_job()
    custody.receive("LL-424242", on=dt.date(2026, 4, 1), revision="C", order_number="PO 77", where="shelf 3", by=theo)
    collar = Collar.objects.get(serial="LL-424242")
    custody.move(collar, to="van", on=dt.date(2026, 5, 3), where="van 2", by=theo)

    dayone.record_collar_registered(job, on=DAY_ONE, serial="ll-424242", by=theo)
    dayone.record_collar_staged(job, on=DAY_ONE, place="left of the meter", photo=dayone.Photo("bag.png", PNG), by=theo)
    put(job, k.REQUEST_SENT, on=dt.date(2026, 6, 3), value={"request": "r", "utility": "Ottermere Municipal Light"})
    put(job, k.COLLAR_FITTED, on=FITTED, value={"serial": "LL-424242"})

    collar.refresh_from_db()
    assert collar.job == job
    assert places(collar) == ["store", "van", "van", "site", "socket"]
    assert (collar.place, collar.place_since) == (Place.SOCKET, FITTED)
    # What the store knew of it stands in the fact, though nobody typed it again.
    assert facts.of(job).latest(k.COLLAR_REGISTERED).value["revision"] == "C"


def test_a_swap_is_on_record_bars_the_old_serial_and_ends_the_old_tags(theo, dana):
    job, other = make_job(S.GRID_TIED), make_job()
    old = serial_of(job)
    tag = BagTag.objects.create(job=job, token_hash="0" * 64, serial=old, made_at=dt.datetime(2026, 5, 4, tzinfo=dt.UTC), made_by_name="t")

    dayone.record_collar_registered(job, on=TODAY, serial="LL-888888", by=theo)

    first = Collar.objects.get(serial=old)
    assert first.job is None
    assert first.barred_why == f"swapped for LL-888888 at job {job.code}"
    assert collar_of(job).serial == "LL-888888"
    tag.refresh_from_db()
    assert tag.ended_why == "the collar was swapped for LL-888888"
    for home in (other, job):
        with pytest.raises(Refused, match=f"Serial {old} is barred since 18 November 2026"):
            dayone.record_collar_registered(home, on=TODAY, serial=old, by=theo)

    with pytest.raises(NotAllowed):
        custody.lift_bar(first, reason="looks sound", by=theo)
    custody.lift_bar(first, reason="Joel Amadi looked at it: sound", by=dana)
    dayone.record_collar_registered(other, on=TODAY, serial=old, by=theo)
    assert collar_of(other).serial == old


def test_a_swap_recorded_in_error_gives_the_first_collar_back_and_lifts_its_bar(dana):
    job = make_job(S.GRID_TIED)
    old = serial_of(job)
    swap = dayone.record_collar_registered(job, on=TODAY, serial="LL-888888", by=dana)

    homefacts.correct(swap, withdraw=True, reason="the other house", by=dana)

    collar = collar_of(job)
    assert (collar.serial, collar.barred_on) == (old, None)
    assert Collar.objects.get(serial="LL-888888").job is None


def test_a_letter_among_digits_is_asked_about_and_recorded_once_it_was_checked(theo):
    job = make_job()

    with pytest.raises(Refused, match="type LL-000242; if it is truly the letter, say that it was checked") as refusal:
        dayone.record_collar_registered(job, on=DAY_ONE, serial="LL-00O242", by=theo)
    assert refusal.value.field == "serial"
    assert not Collar.objects.exists()

    dayone.record_collar_registered(job, on=DAY_ONE, serial="LL-00O242", sure=True, by=theo)
    assert collar_of(job).serial == "LL-00O242"


def test_a_bag_that_shows_the_serial_of_another_home_is_refused_and_names_it(theo):
    job, other = make_job(), make_job(S.GRID_TIED)
    dayone.record_collar_registered(job, on=DAY_ONE, serial="LL-424242", by=theo)
    photo = dayone.Photo("bag.png", PNG)

    with pytest.raises(Refused, match=f"{serial_of(other)} is registered for job {other.code}") as refusal:
        dayone.record_collar_staged(job, on=DAY_ONE, place="left", photo=photo, serial_seen=serial_of(other), by=theo)

    assert refusal.value.field == "serial_seen"
    assert not Document.objects.filter(job=job).exists()  # nothing half done
    cable = dayone.Cable(run="conduit to the gateway", coiled_cm=80, end="capped", labelled=True, dead=True)
    staged = dayone.record_collar_staged(
        job, on=DAY_ONE, place="left", photo=photo, serial_seen="ll-424242", cable=cable, told_not_to_move=True, by=theo
    )
    assert staged.value["serial_seen"] == "LL-424242"
    assert (staged.value["cable_coiled_cm"], staged.value["cable_end"], staged.value["cable_dead"]) == (80, "capped", True)


def test_a_withdrawn_revision_is_not_registered_nor_received(theo):
    gone = {"on": TODAY, "notice": "maker's notice 12", "by_name": "t", "recorded_at": dt.datetime(2026, 11, 18, tzinfo=dt.UTC)}
    WithdrawnRevision.objects.create(revision="B", **gone)
    job = make_job()

    for wrong in (
        lambda: dayone.record_collar_registered(job, on=DAY_ONE, serial="LL-424242", revision="b", by=theo),
        lambda: custody.receive("LL-424243", on=TODAY, revision="B", by=theo),
    ):
        with pytest.raises(Refused, match="Revision B is withdrawn since 18 November 2026"):
            wrong()
    assert not Collar.objects.exists()


def test_a_collar_found_missing_makes_a_visit_useless_until_another_hangs_there(theo):
    job = make_job(S.GRID_TIED)
    assert custody.trouble(facts.of(job)) == ""

    custody.record_collar_lost(job, on=TODAY, what="missing", reported_by="homeowner", police_report="26-1188", by=theo)

    known = facts.of(job)
    assert custody.trouble(known) == "the collar was found missing on 18 November 2026"
    assert not custody.hangs(known)
    assert custody.last_seen(known) is None
    assert collar_of(job).place == Place.UNKNOWN
    with pytest.raises(Refused, match="nothing to photograph"):
        custody.record_bag_seen(job, on=TODAY, name="bag.png", data=PNG, by=theo)

    dayone.record_collar_registered(job, on=TODAY, serial="LL-999111", by=theo)
    dayone.record_collar_staged(job, on=TODAY, place="left", photo=dayone.Photo("bag.png", PNG), by=theo)
    assert custody.trouble(facts.of(job)) == ""
    assert collar_of(job).place == Place.SITE


def test_a_reason_why_none_was_hung_hangs_no_bag_and_ends_no_trouble(theo):
    job = make_job(S.GRID_TIED)
    custody.record_collar_lost(job, on=TODAY, what="missing", by=theo)

    dayone.record_collar_staged(job, on=TODAY, reason="no other collar in the van", by=theo)

    known = facts.of(job)
    assert custody.trouble(known) == "the collar was found missing on 18 November 2026"
    assert not custody.hangs(known)
    assert custody.last_seen(known) is None
    with pytest.raises(Refused, match="nothing to photograph"):
        custody.record_bag_seen(job, on=TODAY, name="bag.png", data=PNG, by=theo)


def test_a_bag_of_the_contractors_list_hangs_though_the_list_leaves_out_its_place():
    job = make_job()
    put(job, k.COLLAR_REGISTERED, on=DAY_ONE, value={"serial": "LL-424242"})
    put(job, k.COLLAR_STAGED, on=DAY_ONE, value={"place": "", "reason": AS_LISTED})

    assert custody.last_seen(facts.of(job)) == DAY_ONE
    assert (collar_of(job).place, collar_of(job).where) == (Place.SITE, "")


def test_a_photo_of_the_bag_moves_the_day_on_which_it_was_last_seen(theo):
    job = make_job(S.GRID_TIED)
    assert custody.last_seen(facts.of(job)) == DAY_ONE

    custody.record_bag_seen(job, on=TODAY, name="bag.png", data=PNG, by=theo)

    assert custody.last_seen(facts.of(job)) == TODAY
    with pytest.raises(Refused, match="is no picture"):
        custody.record_bag_seen(job, on=TODAY, name="bag.pdf", data=b"%PDF-1.7 x", by=theo)


def test_a_move_before_the_one_on_record_or_ahead_is_refused(theo):
    collar = custody.receive("LL-424242", on=dt.date(2026, 6, 1), by=theo)

    for on, words in ((dt.date(2026, 5, 31), "moved on or after that day"), (dt.date(2026, 11, 19), "has not come yet")):
        with pytest.raises(Refused, match=words):
            custody.move(collar, to="van", on=on, by=theo)
    with pytest.raises(Refused, match="registered for no home"):
        custody.move(collar, to="site", on=TODAY, by=theo)
    with pytest.raises(Refused, match="is on record already"):
        custody.receive("ll-424242", on=TODAY, by=SYSTEM)
    assert places(collar) == ["store"]


def test_the_sheet_that_was_kept_is_the_record_of_what_was_given(dana):
    from utilities import bagpapers

    job = make_job()
    kept = bagpapers.keep_sheet(job, language="es", by=dana)

    fact = dayone.record_sheet_given(
        job, on=TODAY, to="owner", language="Spanish", signed_by="G. Hernández", photo=dayone.Photo("signed.png", PNG), by=dana
    )

    assert [document.subject for document in fact.evidence.order_by("pk")] == ["hand-over sheet one, Spanish", "signed hand-over sheet one"]
    assert fact.evidence.order_by("pk")[0] == kept
    assert (fact.value["given_by"], fact.value["signed_by"]) == ("Dana Ruiz", "G. Hernández")


def test_reconcile_finds_a_collar_that_is_not_where_its_facts_and_moves_say(dana):
    job, other = make_job(S.GRID_TIED), make_job(S.GRID_TIED)
    dayone.record_collar_registered(other, on=TODAY, serial="LL-888888", by=dana)
    assert list(reconcile.breaches()) == []

    Collar.objects.filter(job=job).update(place="van")
    Collar.objects.filter(job=other).update(job=None)

    assert list(reconcile.breaches()) == [
        f"Collar {serial_of(job)}: it is kept as van, its newest move says site.",
        f"Job {other.code}: its facts name collar LL-888888, custody none.",
    ]
