"""Forms of the metering cut-over and of the limits that are entered."""

from __future__ import annotations

import re
from typing import Any

from django import forms

from jobs.core import facts
from jobs.core.cutover import Read
from jobs.core.models.people import Language
from jobs.core.pairs import Pair
from jobs.core.record_forms import DayForm, TimeForm

_LINE = re.compile(r"(?P<time>[0-2]?\d:[0-5]\d)[\s,;]+(?P<cts>[-+\u2212]?\d[\d,]*?)[\s,;]+(?P<collar>[-+\u2212]?\d+)")
MOST_PAIRS = 60


class PairsField(forms.CharField):
    """One pair a line: time, CTs, collar."""

    def __init__(self) -> None:
        super().__init__(
            label="Paired readings, one pair a line: time, CTs, collar",
            help_text="Read both at the same instant, in watts; import is positive, export negative. Six pairs or more from low to high "
            "load, and one while PV exports: 14:05, 310, 300",
            widget=forms.Textarea(attrs={"rows": 8}),
            error_messages={"required": "Read the CTs and the collar at the same instants; each pair is a line, such as 14:05, 310, 300."},
        )

    def clean(self, value: Any) -> Any:
        lines = [line.strip() for line in str(super().clean(value)).splitlines() if line.strip()]
        if len(lines) > MOST_PAIRS:
            raise forms.ValidationError(f"These are {len(lines)} lines; {MOST_PAIRS} pairs are enough.")
        return [self._read(line) for line in lines]

    def _read(self, line: str) -> Read:
        found = _LINE.fullmatch(line)
        if found is None or int(found["time"].split(":")[0]) > 23:
            raise forms.ValidationError(f'"{line[:60]}" is not a pair. Wanted are time, CTs and collar: 14:05, 310, 300.')
        cts, collar = (int(found[name].replace("\u2212", "-").replace(",", "")) for name in ("cts", "collar"))
        return Read(found["time"].rjust(5, "0"), Pair(cts, collar))


class CutOverForm(TimeForm):
    readings = PairsField()
    meter = forms.ChoiceField(label="The site's meter from now on", choices=[(c, c) for c in facts.SITE_METERS], widget=forms.RadioSelect)
    old_cts = forms.ChoiceField(label="The old CTs", choices=[(c, c) for c in facts.OLD_CTS], widget=forms.RadioSelect)
    electrician = forms.CharField(
        label="Electrician, with license number",
        help_text="Wanted where anything physical was done or left.",
        max_length=160,
        required=False,
    )


def _figure(label: str, help_text: str = "") -> forms.IntegerField:
    return forms.IntegerField(label=label, help_text=help_text, required=False, min_value=0, max_value=1_000_000)


class BackupLimitsForm(DayForm):
    """What is not known is left empty: the call page then says that it cannot tell."""

    continuous_w = _figure("Continuous power of all inverters, W")
    leg_a = _figure("Current that a leg may carry, A")
    start_va = _figure("Power for the moment of a start, VA")
    usable_wh = _figure("Usable energy of the battery, Wh", "Between full and empty.")
    floor_percent = _figure("Floor of the charge, %", "It gives no more below this.")
    charge_w = _figure("Charging power at most, W")
    taper_percent = _figure("Charge from which it takes less, %")
    efficiency_percent = _figure("Share of the energy that arrives, %", "Empty counts as 100.")
    read_from = forms.CharField(label="Read from", help_text="Nameplates, settings, data sheet.", max_length=160, required=False)
    entered_by = forms.CharField(label="Who read them", max_length=160)


class SheetTwoForm(DayForm):
    to = forms.CharField(label="Given to", max_length=160)
    language = forms.ChoiceField(label="Language of the sheet", choices=Language.choices, widget=forms.RadioSelect)
    how = forms.CharField(label="How", help_text="By mail, by e-mail, in person.", max_length=80, required=False)
