"""What messages about one fact share: they keep its uid and find it again, if it still stands, with its day in their language."""

from __future__ import annotations

from typing import Any

from jobs.core import words
from jobs.core.models import Fact
from jobs.notices.models import Message


def about(fact: Fact) -> dict[str, Any]:
    """What `outbox.owe` keeps of it."""
    return {"fact": str(fact.uid)}


def fact_of(message: Message) -> Fact | None:
    """None once it was corrected."""
    return Fact.objects.standing().filter(job=message.job, uid=message.about.get("fact")).first()


def day_words(message: Message) -> str:
    """The day of the fact as the homeowner reads it; blank once it was corrected."""
    fact = fact_of(message)
    return words.day_long_home(fact.day, lang="es" if message.language == "es" else "en") if fact else ""
