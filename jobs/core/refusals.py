"""How an act says no: a sentence for the person, and the field it is about."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import Http404


class Refused(Exception):
    """What was asked cannot be recorded; the sentence says what is wrong and what is wanted."""

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        super().__init__(sentence)
        self.field = field


class NotAllowed(PermissionDenied):
    """The person has not the right; a view answers 403."""


class OutOfSight(Http404):
    """The thing is not one that this person or link may know of; a view answers 404."""
