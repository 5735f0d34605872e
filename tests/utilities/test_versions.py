"""Versions of a utility's profile: their days, their confirmation, and what requests keep of them."""

import dataclasses
import datetime as dt
import re
from typing import Any

import pytest
from django.urls import reverse

from jobs.core.refusals import Refused
from tests.make import SYSTEM, user_of
from tests.utilities.made import make_request, make_service, make_utility
from utilities import services, versions
from utilities.models import KnownCalendar, ProfileVersion
from utilities.profile import set_closures
from utilities.terms import Limit, Person, Terms

pytestmark = pytest.mark.django_db
D = dt.date


def test_a_new_version_ends_the_one_before_and_a_request_keeps_its_own(dana):
    utility = make_utility(route="portal")
    request = make_request(make_service(utility=utility))

    newer = versions.record_version(utility, terms=Terms(route="form by e-mail"), valid_from=D(2026, 11, 18), by=dana)

    older = ProfileVersion.objects.get(utility=utility, valid_from__lt=newer.valid_from)
    assert (older.valid_to, newer.valid_to) == (D(2026, 11, 17), None)
    request.refresh_from_db()
    assert request.version == older
    assert request.sendings.get().version == older
    assert services.terms_of(services.version_of(utility, D(2026, 11, 18))).route == "form by e-mail"
    assert make_request(make_service(utility=utility), on=D(2026, 11, 18)).version == newer


@pytest.mark.parametrize(
    ("first", "last"),
    [
        (D(2026, 3, 1), D(2026, 3, 31)),  # inside one
        (D(2026, 2, 1), None),  # over one that comes later
        (D(2026, 3, 31), D(2026, 6, 1)),  # meets its last day
        (D(2026, 3, 1), None),  # begins with it
    ],
)
def test_a_version_that_overlaps_another_is_refused_and_what_stood_stands(dana, first, last):
    utility = make_utility()
    versions.record_version(utility, terms=Terms(), valid_from=D(2026, 3, 1), valid_to=D(2026, 3, 31), by=dana)

    with pytest.raises(Refused, match="The version from 1 March 2026 to 31 March 2026 overlaps these days"):
        versions.record_version(utility, terms=Terms(route="portal"), valid_from=first, valid_to=last, by=dana)

    assert utility.versions.count() == 1


def test_a_typed_version_that_overlaps_keeps_all_that_was_typed(client, dana):
    utility = make_utility(route="portal")
    client.force_login(user_of(dana))
    typed = {"valid_from": "1 Jan 2020", "route": "a letter, by mail", "contacts_0_name": "Lena Abbott", "who_may_fit": ""}

    page = client.post(reverse("version_new", kwargs={"uid": utility.uid}), typed)

    said = page.content.decode()
    assert page.status_code == 422
    assert "overlaps these days" in said
    assert 'value="a letter, by mail"' in said
    assert 'value="Lena Abbott"' in said
    assert utility.versions.count() == 1


def test_a_profile_is_folded_by_subject_and_what_is_to_be_corrected_is_open(client, dana):
    terms: dict[str, Any] = {"route": "portal", "fee_minor": 0, "contacts": (Person("Lena Abbott"),)}
    utility = make_utility(**terms)
    client.force_login(user_of(dana))
    address = reverse("version_new", kwargs={"uid": utility.uid})
    folds = re.compile(r'<details class="subject"( open)?>\s*<summary>(.*?) <span class="told">(.*?)</span>')

    told = {legend: (said, bool(shown)) for shown, legend, said in folds.findall(client.get(address).content.decode())}
    page = client.post(address, {"valid_from": "18 Nov 2026", "limits_3_days": "5"})
    after = {legend: (said, bool(shown)) for shown, legend, said in folds.findall(page.content.decode())}

    assert (told["From when it holds"], told["A request"]) == (("1 of 3 told", True), ("2 of 6 told", False))
    assert (told["People at the desk"], told["Limits it publishes, each with its source"]) == (("1 told", False), ("none told", False))
    assert page.status_code == 422
    assert after["Limits it publishes, each with its source"] == ("4 told", True)
    assert after["People at the desk"] == ("none told", False)
    wrong = page.content.decode().partition("Limits it publishes")[2]
    assert wrong.index("Choose what the utility must do within this limit.") < wrong.index("Room for 1 more")


def test_a_version_is_typed_whole_and_stands_beside_the_other(client, dana):
    utility = make_utility(route="portal")
    client.force_login(user_of(dana))
    typed = {
        "valid_from": "18 Nov 2026", "route": "form by e-mail", "meter_forms": "2S, 12S", "package": "one-line diagram\nsite plan",
        "fee": "$75.00", "signature_needed": "yes", "contacts_0_name": "Lena", "contacts_0_phone": "(303) 555-0142",
        "limits_0_step": "complete", "limits_0_days": "5", "limits_0_source": "COMAR 20.50.09.09", "confirmed_with": "Lena",
    }  # fmt: skip

    client.post(reverse("version_new", kwargs={"uid": utility.uid}), typed)
    beside = client.get(reverse("versions", kwargs={"uid": utility.uid})).content.decode()

    version = services.version_of(utility, D(2026, 11, 18))
    terms = services.terms_of(version)
    assert version is not None
    assert (terms.meter_forms, terms.package, terms.fee_minor) == (["2S", "12S"], ["one-line diagram", "site plan"], 7_500)
    assert terms.contacts == (Person("Lena", phone="+13035550142"),)
    assert terms.limits == (Limit("complete", "COMAR 20.50.09.09", days=5),)
    assert version.confirmed_on == D(2026, 11, 18)
    assert "Two versions side by side" in beside
    assert "to say whether it is complete within 5 business days" in beside
    assert beside.count(">changed<") == 7  # route, forms, package, fee, signature, people, limits


@pytest.mark.parametrize(
    ("terms", "sentence"),
    [
        (Terms(who_may_fit="any licensed electrician"), "Name the rule that lets others than the utility fit"),
        (Terms(limits=(Limit("review", "", days=15),)), "a limit without a source is not one"),
        (Terms(limits=(Limit("review", "its tariff"),)), "Give the number of days"),
        (Terms(desk_phone="555"), "wanted"),
    ],
)
def test_a_version_that_cannot_hold_is_refused(dana, terms, sentence):
    utility = make_utility()
    with pytest.raises(Refused, match=sentence):
        versions.record_version(utility, terms=terms, valid_from=D(2026, 11, 1), by=dana)
    assert not utility.versions.exists()


def test_a_version_under_a_request_stays_as_it_is(dana):
    utility = make_utility(route="portal")
    version = utility.versions.get()
    versions.correct_version(version, terms=Terms(route="portals"), by=dana)
    make_request(make_service(utility=utility))

    with pytest.raises(Refused, match="A request rests on this version"):
        versions.correct_version(version, terms=Terms(route="mail"), by=dana)

    version.refresh_from_db()
    assert version.route == "portals"


def test_a_profile_says_how_long_ago_it_was_confirmed_and_warns_past_the_age_of_the_rule(client, dana):
    utility = make_utility(route="portal")
    make_request(make_service(utility=utility))
    version = utility.versions.get()
    client.force_login(user_of(dana))
    page = reverse("utility", kwargs={"uid": utility.uid})

    assert "Never confirmed" in client.get(page).content.decode()
    versions.confirm_version(version, on=D(2026, 11, 6), confirmed_with="Lena Abbott", by=dana)
    version.refresh_from_db()

    assert versions.confirmed_words(version, today=D(2026, 11, 18)) == "Confirmed 12 days ago"
    assert "ask " + utility.name not in client.get(page).content.decode()
    assert not versions.is_old(version, today=D(2026, 11, 6) + dt.timedelta(days=180))
    assert versions.is_old(version, today=D(2026, 11, 6) + dt.timedelta(days=181))
    with pytest.raises(Refused, match="Name who at the utility"):
        versions.confirm_version(version, on=D(2026, 11, 7), confirmed_with=" ", by=dana)
    with pytest.raises(Refused, match="still to come"):
        versions.confirm_version(version, on=D(2026, 12, 7), confirmed_with="Lena", by=dana)


def test_the_calendar_is_kept_as_it_was_known_on_each_day(dana):
    utility = make_utility()
    KnownCalendar.objects.filter(utility=utility).update(known_on=D(2026, 1, 1))

    set_closures(utility, first=D(2026, 12, 24), last=D(2026, 12, 31), kind="closed", by=dana)

    before, after = services.known_calendars(utility)
    assert (before.known_on, after.known_on) == (D(2026, 1, 1), D(2026, 11, 18))
    assert before.calendar.is_worked(D(2026, 12, 28))
    assert not after.calendar.is_worked(D(2026, 12, 28))


def test_terms_come_back_from_a_version_as_they_went_in(dana):
    terms = Terms(limits=(Limit("visit", "its tariff", words="soon"),), steps_above=(Person("", "board"),), package=("site plan",))
    utility = make_utility()
    version = versions.record_version(utility, terms=terms, valid_from=D(2026, 1, 1), by=SYSTEM)
    version.refresh_from_db()

    back = services.terms_of(version)
    assert dataclasses.replace(back, package=tuple(back.package)).columns() == terms.columns()
