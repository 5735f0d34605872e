"""Forms of the desk's day: what it said line by line, a hand-over, an absence."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from jobs.core.forms import DayField, OfficeForm
from jobs.core.refusals import Refused
from utilities import requests
from utilities.deskanswers import SAID, Line, LinesRefused
from utilities.deskpage import Home
from utilities.forms import PersonChoice
from utilities.models import Utility

_COLUMNS = {"on": "day", "said_on": "answer", "utility_reference": "reference", "serial": "note"}


class LinesForm(OfficeForm):
    """One line for each home: answer, day, its number, a note. A line without an answer is left out."""

    on = DayField(label="Day")
    channel = forms.ChoiceField(label="How", choices=list(requests.CHANNELS.items()), initial="telephone")
    person = forms.CharField(label="Who answered", max_length=120, required=False)
    good_ones = forms.BooleanField(label="Record the good lines, should others be refused", required=False)

    def __init__(self, *args: Any, homes: Sequence[Home], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.homes = homes
        for home in homes:
            code = home.request.code
            choices = [("", "not asked"), *SAID.items()]
            self.fields[f"answer-{code}"] = forms.ChoiceField(label=f"Answer about {code}", choices=choices, required=False)
            self.fields[f"day-{code}"] = DayField(label=f"Day about {code}", required=False)
            self.fields[f"reference-{code}"] = forms.CharField(label=f"Its number of {code}", max_length=80, required=False)
            self.fields[f"note-{code}"] = forms.CharField(label=f"Note about {code}", max_length=300, required=False)

    @property
    def rows(self) -> list[tuple[Home, list[forms.BoundField]]]:
        return [(home, [self[f"{name}-{home.request.code}"] for name in ("answer", "day", "reference", "note")]) for home in self.homes]

    def given(self) -> dict[str, Any]:
        told = self.cleaned_data
        lines = []
        for home in self.homes:
            code = home.request.code
            if told[f"answer-{code}"]:
                lines.append(Line(code, told[f"answer-{code}"], told[f"day-{code}"], told[f"reference-{code}"], told[f"note-{code}"]))
        return {name: told[name] for name in ("on", "channel", "person", "good_ones")} | {"lines": lines}

    def clean(self) -> dict[str, Any]:
        told: dict[str, Any] = super().clean() or self.cleaned_data
        for home in self.homes:
            code = home.request.code
            said = [name for name in ("day", "reference", "note") if told.get(f"{name}-{code}")]
            if said and not told.get(f"answer-{code}"):
                self.add_error(f"answer-{code}", "Something stands in this line and no answer: choose one, or empty the line.")
        return told

    def refuse(self, refusal: Refused) -> None:
        super().refuse(refusal)
        if isinstance(refusal, LinesRefused):
            for code, (column, sentence) in refusal.wrong.items():
                name = f"{_COLUMNS.get(column, column)}-{code}"
                self.add_error(name if name in self.fields else f"answer-{code}", sentence)


class _OfClerk(OfficeForm):
    clerk = PersonChoice(label="Whose desks", empty_label="choose")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        asking = Utility.objects.exclude(clerk=None).values("clerk")
        self.fields["clerk"].queryset = self.fields["clerk"].queryset.model.objects.filter(pk__in=asking).order_by("name")  # type: ignore[attr-defined]


class HandOverForm(_OfClerk):
    to = PersonChoice(label="Who asks them from now on", empty_label="choose")


class AwayForm(_OfClerk):
    first = DayField(label="Away from")
    last = DayField(label="Away until", help_text="The last day of the absence.")
    stand_in = PersonChoice(
        label="Who asks meanwhile", required=False, empty_label="who stands in already", help_text="Where nobody stands in yet."
    )
