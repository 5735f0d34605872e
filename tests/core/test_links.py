from __future__ import annotations

import base64
import datetime as dt
import re

import pytest
import time_machine

from jobs.core import links
from jobs.core.links import LinkEnded, LinkUnknown
from tests.make import make_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def token() -> str:
    job = make_job()
    return links.make("call", job=job, person=job.parties.first().person, about="x", days=3)


def test_a_token_opens_its_own_link(token):
    assert links.opened(token, purpose="call").about == "x"


def test_a_token_altered_in_any_character_is_refused_alike(token):
    for place in range(len(token)):
        other = "A" if token[place] != "A" else "B"
        with pytest.raises(LinkUnknown, match="not complete"):
            links.opened(token[:place] + other + token[place + 1 :], purpose="call")


@pytest.mark.parametrize("junk", ["", "!", "call", "é" * 48, "A" * 48, "A" * 5_000, "\0"])
def test_what_is_no_token_is_refused_alike(junk):
    with pytest.raises(LinkUnknown, match="not complete"):
        links.opened(junk, purpose="call")


@pytest.mark.parametrize("place", [0, 20, 48])
@pytest.mark.parametrize("more", ["!", " ", "\n", "=", "AAAA", "."])
def test_a_token_with_anything_put_in_is_refused(token, place, more):
    with pytest.raises(LinkUnknown):
        links.opened(token[:place] + more + token[place:], purpose="call")


def test_a_token_is_short_enough_for_a_text_and_names_nothing_that_can_be_counted(token):
    assert re.fullmatch(r"[A-Za-z0-9_-]{48}", token)
    assert links.opened(token, purpose="call").pk.to_bytes(8) not in base64.urlsafe_b64decode(token)


def test_a_key_of_before_opens_links_while_it_is_kept(token, settings):
    settings.LINK_KEYS = ["a newer key of links", *settings.LINK_KEYS]
    assert links.opened(token, purpose="call")

    settings.LINK_KEYS = settings.LINK_KEYS[:1]
    with pytest.raises(LinkUnknown):
        links.opened(token, purpose="call")


def test_a_token_does_not_serve_another_purpose(token):
    with pytest.raises(LinkUnknown):
        links.opened(token, purpose="bag")


def test_renewing_voids_the_older_token(token):
    newer = links.renew(links.opened(token, purpose="call"))

    with pytest.raises(LinkEnded):
        links.opened(token, purpose="call")
    assert links.opened(newer, purpose="call")


def test_a_link_ends_on_its_day(token):
    with time_machine.travel(dt.datetime(2026, 11, 21, 18, 1, tzinfo=dt.UTC)), pytest.raises(LinkEnded):
        links.opened(token, purpose="call")


def test_all_links_about_one_thing_can_be_ended(token):
    link = links.opened(token, purpose="call")

    links.end_all(link.job, about="x")

    with pytest.raises(LinkEnded):
        links.opened(token, purpose="call")
