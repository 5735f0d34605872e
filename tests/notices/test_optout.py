"""TRADE.md rows O2 and O3; the words of 47 CFR 64.1200(a)(10), in force since 11 April 2025."""

from __future__ import annotations

import pytest

from jobs.notices.confirming import WORDS
from jobs.notices.optout import ENGLISH, SPANISH, Asks, asks, mentioned

# 47 CFR 64.1200(a)(10): "stop," "quit," "end," "revoke," "opt out," "cancel," or "unsubscribe".
OF_THE_RULE = {"stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"}


def test_the_words_are_those_of_the_rule():
    assert ENGLISH == OF_THE_RULE


@pytest.mark.parametrize("reply", ["STOP", " stop. ", "Opt Out", "opt-out", "End", "CANCEL", "unsubscribe", "Revoke", "quit"])
def test_row_o2_each_of_these_ends_it(reply):
    assert asks(reply) == Asks.STOP


@pytest.mark.parametrize(
    "reply",
    [
        "¡ALTO!",
        "No más",
        "NO MAS",
        "basta",
        "Parar.",
        "cancelar",
        "STOP STOP",
        "Stop please",
        "“Stop”",
        "ＳＴＯＰ",
        "st\u00ado\u200bp",
        "🛑 stop",
    ],
)
def test_spanish_words_and_odd_spellings_end_it_too(reply):
    assert asks(reply) == Asks.STOP


@pytest.mark.parametrize(
    "reply",
    ["please cancel Tuesday, can we do Friday", "when will this end?", "don't stop", "no", "", "👍", "end of the week is fine", "nonstop"],
)
def test_row_o3_a_sentence_goes_to_a_person(reply):
    assert asks(reply) == Asks.PERSON


@pytest.mark.parametrize("reply", ["Wrong number", "wrong number!!", "Número equivocado"])
def test_a_wrong_number_is_told_apart(reply):
    assert asks(reply) == Asks.WRONG_NUMBER


@pytest.mark.parametrize("language", WORDS)
def test_the_confirming_text_holds_no_word_that_would_end_it(language):
    assert mentioned(" ".join(WORDS[language])) == []
    for word in OF_THE_RULE | SPANISH:
        assert mentioned(f"Reply {word.upper()}!") == [word] or word in {"dar de baja", "no mas mensajes", "no mas", "baja"}
