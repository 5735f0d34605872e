"""Hand-over sheet one: it says what the home's facts bear, the notice first, in English and Spanish."""

from __future__ import annotations

import dataclasses
import io

import pytest
from pypdf import PdfReader

from jobs.core import cautions
from jobs.core.papers import handover
from jobs.core.papers.handover import Handover

TOLD = Handover(
    lang="en",
    company="Larch & Lantern Home Energy",
    phone="(303) 555-0101",
    job="KQ7M4E",
    home="4417 Old Sawmill Road, Ottermere, CO 80000",
    given_on="Monday, May 4, 2026",
    utility="Ottermere Municipal Light",
    utility_phone="(303) 555-0111",
    who_may_fit="",
    bag="left of the meter, at eye height",
    has_battery=True,
    permitted=True,
)
MUST = ("no_backup_yet", "live_conductors", "utility_only", "seals", "medical", "house_dark")


def text_of(told: Handover) -> str:
    pages = PdfReader(io.BytesIO(handover.handover(told))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.mark.parametrize("lang", ["en", "es"])
def test_the_sheet_holds_every_caution_whole_and_first_of_all_that_there_is_no_backup_yet(lang):
    text = text_of(dataclasses.replace(TOLD, lang=lang))

    for name in (*MUST, "battery"):
        assert " ".join(cautions.of(name).text(lang).split()) in text, name
    places = [text.index(" ".join(cautions.of(name).text(lang).split())) for name in MUST]
    assert places == sorted(places)
    for words in ("(303) 555-0101", "(303) 555-0111", "left of the meter, at eye height", "KQ7M4E"):
        assert words in text


@pytest.mark.parametrize(
    ("changed", "there", "gone"),
    [
        ({"has_battery": False}, "What not to touch", "Your battery"),
        ({"bag": ""}, "The device is not at your home yet.", "A bag with the device hangs here"),
        ({"permitted": False}, "Commissioned is not permitted.", "nothing that is not there"),
        ({"utility_phone": ""}, "The emergency number of your electric utility stands on your bill.", "(303) 555-0111"),
        ({"who_may_fit": "a licensed electrician"}, "Who may fit the device here: a licensed electrician.", "nothing that is not there"),
        (
            {"days": "half of such homes have it by March 14, 2027"},
            "half of such homes have it by March 14, 2027",
            "it has promised no day",
        ),
    ],
)
def test_the_sheet_says_what_is_so_at_this_home(changed, there, gone):
    text = text_of(dataclasses.replace(TOLD, **changed))

    assert there in text
    assert gone not in text


def test_a_name_with_letters_of_other_languages_is_whole_and_the_same_facts_give_the_same_bytes():
    told = dataclasses.replace(TOLD, company="Łukasz & Őrsi Şahin")

    assert "Łukasz & Őrsi Şahin" in text_of(told)
    assert handover.handover(told) == handover.handover(told)
