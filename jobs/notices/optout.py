"""What a reply asks for when it is one of a few words. Pure.

Sources: 47 CFR 64.1200(a)(10), in force since 11 April 2025, names stop, quit, end, revoke, opt out, cancel and unsubscribe as answers
that revoke consent beyond doubt; it honours any other reasonable way too, which a person decides. The Spanish words are our own choice,
common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata
from enum import StrEnum

ENGLISH = frozenset({"stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"})
# The same words run together or doubled, as people type them, and some that leave no doubt either (common practice, no source).
AS_TYPED = frozenset({"optout", "stop all", "stopall", "stop texting me", "stop texts", "stop messages", "no more", "no more texts"})
SPANISH = frozenset(
    {"alto", "parar", "pare", "paren", "cancelar", "cancele", "cancelen", "basta", "no mas", "detener", "baja", "dar de baja", "terminar",
     "anular", "revocar", "no mas mensajes"}
)  # fmt: skip
WRONG_NUMBER = frozenset(
    {"wrong number", "wrong person", "you have the wrong number", "this is the wrong number", "wrong", "numero equivocado", "equivocado",
     "numero incorrecto", "persona equivocada", "se equivoco de numero"}
)  # fmt: skip
STOPS = ENGLISH | AS_TYPED | SPANISH


class Asks(StrEnum):
    STOP = "stop"  # no more texts, beyond doubt
    WRONG_NUMBER = "wrong number"
    PERSON = "person"  # anything else: a person reads it


def normal(text: str) -> str:
    """Lower case, without accents and punctuation, one space between words: "¡No MÁS!" is "no mas", "Opt-Out." is "opt out"."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(letter for letter in parts if unicodedata.category(letter) not in ("Mn", "Cf"))  # accents, and what nobody sees
    return " ".join(re.sub(r"[^\w\s]|_", " ", plain).split())


def asks(text: str) -> Asks:
    """What the whole reply asks for. A sentence that only holds such a word ("please cancel Tuesday") is for a person."""
    words = normal(text)
    # "STOP STOP" and "stop please" leave no doubt either.
    once = " ".join(dict.fromkeys(word for word in words.split() if word not in {"please", "por", "favor", "now", "ya"}))
    if words in STOPS or once in STOPS:
        return Asks.STOP
    if words in WRONG_NUMBER:
        return Asks.WRONG_NUMBER
    return Asks.PERSON


def mentioned(text: str) -> list[str]:
    """The words of the law, and ours, that stand in a text as words: what we send must not invite an answer that is one."""
    words = f" {normal(text)} "
    return sorted(word for word in ENGLISH | SPANISH if f" {word} " in words)
