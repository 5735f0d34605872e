"""Forms of day one, in the order of the work: survey, building, CTs and their check, staging, hand-over.

Each page shows one of them; whatever shows several on one page takes them from here, so that a field is written once.
"""

from __future__ import annotations

from typing import Any

from django import forms

from jobs.core import clock, ctcheck, facts, files, kinds, metertiming, sitephotos
from jobs.core.ctbudget import MEASURED_LOAD_PERCENT, Budget
from jobs.core.ctpv import PVTest
from jobs.core.ctsignatures import Service
from jobs.core.dayone import Cable, Photo
from jobs.core.forms import WattsField
from jobs.core.metering import Pulses
from jobs.core.record_forms import DayForm
from jobs.core.refusals import Refused


def choices(*of: str) -> list[tuple[str, str]]:
    return [(one, one) for one in of]


def seal_field() -> forms.ChoiceField:
    return forms.ChoiceField(
        label="The utility's seal at the meter",
        help_text="Look, do not touch. Broken or absent: photograph it; the utility is told today.",
        choices=choices(*facts.SEAL_STATES),
        widget=forms.RadioSelect,
    )


class VisitForm(DayForm):
    """A record made at the home: the seal is looked at on every visit. Answered once that day, it stands as it was answered."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["seal"] = seal_field()
        today = clock.today_in(self.job.site.zone)
        seen = self.job.facts.standing().of_kind(kinds.SEAL_SEEN).filter(day=today).order_by("pk").last()
        if seen is not None:
            self.fields["seal"].initial = seen.value["state"]
        self.order_fields(["key", "on", "seal"])


class PhotoField(forms.FileField):
    """A photo: too large or of another kind is said at its field, before its bytes are read."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "JPEG or PNG, at most 20 MB.")
        super().__init__(
            required=False, widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png", "capture": "environment"}), **kwargs
        )

    def clean(self, data: Any, initial: Any = None) -> Any:
        upload = super().clean(data, initial)
        if upload:
            if fault := files.too_large(upload.name, upload.size):
                raise forms.ValidationError(fault)
            try:
                files.kind_of(upload.name, upload.read(16))
            except Refused as refusal:
                raise forms.ValidationError(str(refusal)) from None
            upload.seek(0)
        return upload


def photo_of(upload: Any) -> Photo | None:
    return Photo(upload.name, upload.read()) if upload else None


class PhotoForm(DayForm):
    def given(self) -> dict[str, Any]:
        given = super().given()
        given["photo"] = photo_of(given["photo"])
        return given


class PhotosForm(DayForm):
    """One field for each subject of this kind of home; any number of them at a time."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, subject in sitephotos.subjects_of(self.job).items():
            self.fields[name] = PhotoField(label=f"Photo: {subject}", help_text="")

    def given(self) -> dict[str, Any]:
        taken = {name: photo_of(self.cleaned_data[name]) for name in sitephotos.subjects_of(self.job)}
        return {"on": self.cleaned_data["on"], "photos": {name: photo for name, photo in taken.items() if photo}}


class SurveyForm(VisitForm):
    meter_form = forms.CharField(label="Meter form", help_text="As on the meter's face: 2S.", max_length=20, required=False)
    meter_class = forms.TypedChoiceField(
        label="Meter class",
        help_text="As on its face: CL200.",
        choices=[("", "not read"), ("200", "CL200"), ("320", "CL320"), ("100", "CL100")],
        coerce=int,
        empty_value=None,
        required=False,
    )
    socket = forms.ChoiceField(label="Socket", choices=[("", "not seen"), *choices(*facts.SOCKETS)], required=False)
    jaws = forms.ChoiceField(label="Jaws of the socket", choices=choices(*facts.JAWS), initial="not seen", required=False)
    service_voltage = forms.ChoiceField(
        label="Service voltage",
        help_text="The CT check is computed for it.",
        choices=[(volts, f"{volts} V" if volts[0].isdigit() else volts) for volts in facts.SERVICE_VOLTAGES],
    )
    service_a = forms.IntegerField(label="Service, amperes", min_value=30, max_value=2000, required=False)
    clearance = forms.ChoiceField(label="Working space before the meter", choices=choices(*facts.CLEARANCES), widget=forms.RadioSelect)
    obstruction = forms.CharField(label="If obstructed: by what", max_length=160, required=False)
    in_socket = forms.CharField(
        label="Devices already in the socket",
        help_text="Surge arrester, transfer device, another collar; empty if none.",
        max_length=160,
        required=False,
    )
    generator = forms.BooleanField(label="A generator is on the premises", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["service_voltage"].initial = self.job.service


class SealForm(PhotoForm):
    state = seal_field()
    remark = forms.CharField(label="What was seen", max_length=160, required=False)
    photo = PhotoField(label="Photo of the seal", help_text="From where you stand. JPEG or PNG, at most 20 MB.")


class SealReportedForm(DayForm):
    how = forms.CharField(label="How the utility was told", help_text="By telephone, portal, e-mail.", max_length=80)
    who = forms.CharField(label="Who was told", max_length=160, required=False)
    reference = forms.CharField(label="Number the utility gave it", max_length=80, required=False)


class CommissionedForm(VisitForm):
    mode = forms.ChoiceField(
        label="Mode as set",
        choices=[("grid-tied", "grid-tied, no backup"), ("backup", "backup expected")],
        widget=forms.RadioSelect,
    )
    reserve_percent = forms.IntegerField(label="Reserve state of charge, per cent", min_value=0, max_value=100, required=False)
    communications = forms.ChoiceField(
        label="Communications path",
        help_text="Months from now the collar is verified over it.",
        choices=choices(*facts.COMMUNICATIONS),
        widget=forms.RadioSelect,
    )
    firmware = forms.CharField(label="Firmware", max_length=40, required=False)
    export_limit_w = forms.IntegerField(label="Export limit, W", min_value=0, required=False)
    note = forms.CharField(label="Note", required=False, max_length=160)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.job.has_battery:
            del self.fields["reserve_percent"]


class CTsFittedForm(VisitForm):
    place = forms.ChoiceField(label="Where they are", choices=choices(*facts.CT_PLACES), widget=forms.RadioSelect)
    rated_a = forms.IntegerField(label="Rated primary current, A", help_text="As printed on the CT: 200.", min_value=5, max_value=2000)
    ratio_set_a = forms.IntegerField(
        label="Rating set in the gateway, A", help_text="Read it back; it should be what is printed.", min_value=5, max_value=2000
    )
    accuracy_class = forms.CharField(label="Accuracy class", help_text="As printed: 0.5, 1.", max_length=10, required=False)
    arrows = forms.CharField(
        label="Arrows as seen", help_text="Toward the house or toward the meter; a note only.", max_length=80, required=False
    )
    serial_a = forms.CharField(label="Serial of CT A", max_length=40, required=False)
    serial_b = forms.CharField(label="Serial of CT B", max_length=40, required=False)
    older_pv = forms.ChoiceField(
        label="PV that was here before", choices=choices(*facts.OLDER_PV), initial="none", widget=forms.RadioSelect
    )


READINGS = ("off_before", "on", "off_after")
READING_WORDS = {"off_before": "Before", "on": "During", "off_after": "After"}
STEPS = {"a": "load on A", "b": "load on B", "c": "240 V load"}
STEP_NAMES = {"a": "120 V load on leg A", "b": "120 V load on leg B", "c": "Load across both legs"}


class CTCheckForm(VisitForm):
    """Two 120 V steps, one on each leg, and one across both if there is time: three readings of each leg, and the known load.

    The verdict is computed.
    """

    measured = forms.ChoiceField(
        label="The known loads' watts",
        choices=[("", "from the nameplate, right within 5 per cent"), ("yes", "measured at the outlet while they ran")],
        widget=forms.RadioSelect,
        required=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for step, words in STEPS.items():
            extra = step == "c"
            label = "Known load across both legs, W" if extra else f"Known load on leg {step.upper()}, W"
            self.fields[f"{step}_load_w"] = forms.IntegerField(
                label=label,
                min_value=1,
                help_text="1,000 W or more, at 240 V." if extra else "1,000 W or more, on a 120 V outlet of this leg.",
                required=not extra,
                error_messages={"min_value": "A load draws power: its watts are wanted, more than 0, such as 1500."},
            )
            for reading in READINGS:
                # With the step in it: a label is read alone, in the list of what to correct and by ear.
                named = f"{READING_WORDS[reading]}, {words}"
                for seen in ("a", "b"):
                    self.fields[f"{step}_{reading}_{seen}"] = WattsField(label=f"{named}: leg {seen.upper()}, W", required=not extra)
                # Off before the baseline: a home with PV says so by its 0, and nobody has to guess what the sun did.
                if self.job.has_pv:
                    self.fields[f"{step}_{reading}_pv"] = WattsField(label=f"{named}: PV, W (0 when off)", required=not extra)
                self.fields[f"{step}_{reading}_battery"] = WattsField(label=f"{named}: battery, W", required=False)

    @property
    def steps(self) -> list[dict[str, Any]]:
        """The fields as the page lays them out: a step for each load, a row for each reading."""

        def row(step: str, reading: str) -> list[forms.BoundField]:
            seen = ("a", "b", "pv", "battery") if self.job.has_pv else ("a", "b", "battery")
            return [self[f"{step}_{reading}_{what}"] for what in seen]

        return [
            {
                "name": STEP_NAMES[step],
                "load": self[f"{step}_load_w"],
                "rows": [row(step, reading) for reading in READINGS],
                "folded": step == "c",
                "open": any(self[name].data for name in self._names(step)),
            }
            for step in STEPS
        ]

    def _names(self, step: str) -> list[str]:
        """The fields of a step that are wanted once any of it is filled in."""
        seen = ("a", "b", "pv") if self.job.has_pv else ("a", "b")
        return [f"{step}_load_w", *(f"{step}_{reading}_{what}" for reading in READINGS for what in seen)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        names = self._names("c")
        if any(cleaned.get(name) is not None for name in names):
            for name in names:
                if cleaned.get(name) is None and name not in self.errors:
                    self.add_error(name, "The step across both legs is begun; this reading is wanted too, or leave the whole step empty.")
        return cleaned

    def given(self) -> dict[str, Any]:
        budget = Budget(load_percent=MEASURED_LOAD_PERCENT) if self.cleaned_data["measured"] else Budget()
        across = self._step("c") if self.cleaned_data["c_load_w"] is not None else None
        tests = ctcheck.TwoSteps(self._step("a"), self._step("b"), service=Service(self.job.service), budget=budget, across=across)
        return {"on": self.cleaned_data["on"], "seal": self.cleaned_data["seal"], "tests": tests}

    def _step(self, step: str) -> ctcheck.StepTest:
        def reading(name: str) -> ctcheck.Reading:
            told = {what: self.cleaned_data.get(f"{step}_{name}_{what}") for what in ("pv", "battery")}
            a, b = (self.cleaned_data[f"{step}_{name}_{leg}"] for leg in "ab")
            return ctcheck.Reading(a, b, told["pv"], told["battery"])

        before, on, after = (reading(name) for name in READINGS)
        return ctcheck.StepTest(before, on, after, load_w=self.cleaned_data[f"{step}_load_w"])


class PVCheckForm(VisitForm):
    """Both CTs together and PV's output, with PV off and again once it is on; nothing else switched between."""

    import_before_w = WattsField(label="PV off: import of both legs, W")
    pv_before_w = WattsField(label="PV off: PV, W", initial="0")
    import_after_w = WattsField(label="PV on: import of both legs, W")
    pv_after_w = WattsField(label="PV on: PV, W")

    def given(self) -> dict[str, Any]:
        values = {name: self.cleaned_data[name] for name in ("import_before_w", "import_after_w", "pv_before_w", "pv_after_w")}
        return {"on": self.cleaned_data["on"], "seal": self.cleaned_data["seal"], "test": PVTest(**values)}


class MeterTimedForm(VisitForm):
    mark = forms.ChoiceField(
        label="Constant on the meter's face", choices=[(mark.value, mark.value) for mark in metertiming.Mark], widget=forms.RadioSelect
    )
    constant = forms.FloatField(
        label="The constant",
        help_text="Kh such as 7.2 or 1, or impulses such as 1000: read it from the face.",
        error_messages={"invalid": "A number is wanted here as on the meter's face, such as 7.2."},
    )
    taps = forms.CharField(
        label="Seconds at each pulse",
        help_text="One tap at each pulse, for 30 seconds or more: 0, 2.1, 4.2. Each is taken as right within 0.2 seconds.",
        max_length=600,
        required=False,
        # The page's script puts a button of these words beside it, which writes the seconds.
        widget=forms.TextInput(attrs={"data-taps": "Tap at each pulse", "autocomplete": "off"}),
    )
    count = forms.FloatField(
        label="Or how many pulses or turns",
        required=False,
        error_messages={"invalid": "A number of pulses or turns is wanted here, such as 12."},
    )
    seconds = forms.FloatField(
        label="And in how many seconds", required=False, error_messages={"invalid": "Seconds are wanted here, such as 30.5."}
    )
    factor = forms.FloatField(
        label="Transformer factor",
        help_text="1 for a meter without transformers before it, as at most homes.",
        initial=1,
        error_messages={"invalid": "A number is wanted here; 1 at most homes."},
    )
    direction = forms.ChoiceField(
        label="Direction the meter shows",
        choices=[
            (d.value, f"{d.value} {why}".strip())
            for d, why in zip(metertiming.Direction, ("(from the utility)", "(to the utility)", ""), strict=True)
        ],
        widget=forms.RadioSelect,
    )
    ct_total_w = WattsField(label="What the CTs read then, both legs, W", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.job.has_battery:
            del self.fields["ct_total_w"]

    def clean_taps(self) -> tuple[float, ...]:
        typed = self.cleaned_data["taps"].strip()
        try:
            return metertiming.taps_in(typed) if typed else ()
        except ValueError as fault:
            raise forms.ValidationError(str(fault)) from None

    def given(self) -> dict[str, Any]:
        data = self.cleaned_data
        pulses = Pulses(
            metertiming.Mark(data["mark"]),
            data["constant"],
            taps=data["taps"],
            count=data["count"],
            seconds=data["seconds"],
            factor=data["factor"],
        )
        given = {"on": data["on"], "seal": data["seal"], "pulses": pulses, "direction": data["direction"]}
        return given | ({"ct_total_w": data["ct_total_w"]} if "ct_total_w" in data else {})


class StagedForm(VisitForm, PhotoForm):
    place = forms.CharField(
        label="Where the bag hangs",
        help_text="So that the utility's crew finds it: left of the meter, at eye height.",
        required=False,
        max_length=160,
    )
    photo = PhotoField(label="Photo of the bag where it hangs")
    serial_seen = forms.CharField(label="Serial as read through the bag", required=False, max_length=40)
    label = forms.CharField(label="Text of the label, if it is not our printed tag", required=False, max_length=160)
    cable_run = forms.CharField(label="Control cable: how it runs", required=False, max_length=160)
    cable_coiled_cm = forms.IntegerField(label="Control cable coiled at the bag, cm", required=False, min_value=0, max_value=10_000)
    cable_end = forms.ChoiceField(label="Its end", choices=[("", "no control cable"), *choices(*facts.CABLE_ENDS)], required=False)
    cable_labelled = forms.BooleanField(label="Both its ends are labelled", required=False)
    cable_dead = forms.BooleanField(label="It is de-energized", required=False)
    told_not_to_move = forms.BooleanField(label="The homeowner was told not to move the bag", required=False)
    reason = forms.CharField(label="Or why it was not staged", required=False, max_length=160)

    def given(self) -> dict[str, Any]:
        told = super().given()
        cable = {name: told.pop(f"cable_{name}") for name in ("run", "coiled_cm", "end", "labelled", "dead")}
        # An unticked box beside no cable says nothing.
        told["cable"] = Cable(**cable) if any(cable.values()) else None
        told["told_not_to_move"] = told["told_not_to_move"] or None
        return told


class SheetForm(PhotoForm):
    to = forms.CharField(label="Given to", required=False, max_length=160)
    language = forms.ChoiceField(label="Language of the sheet", choices=[("English", "English"), ("Spanish", "Spanish")])
    given_by = forms.CharField(label="Given by, if not by you", required=False, max_length=160)
    signed_by = forms.CharField(label="Signed by", required=False, max_length=160)
    photo = PhotoField(label="Photo of the signed sheet")


class BagSeenForm(PhotoForm):
    photo = PhotoField(label="Photo of the bag where it hangs")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["photo"].required = True

    def given(self) -> dict[str, Any]:
        told = super().given()
        photo = told.pop("photo")
        return told | {"name": photo.name, "data": photo.data}


class CollarLostForm(DayForm):
    what = forms.ChoiceField(label="The collar is", choices=choices(*facts.COLLAR_LOST), widget=forms.RadioSelect)
    reported_by = forms.CharField(label="Who reported it", required=False, max_length=80)
    police_report = forms.CharField(label="Police report, if it was stolen", required=False, max_length=80)
    who_pays = forms.CharField(label="Who pays for another", required=False, max_length=80)
    claim = forms.CharField(label="Insurance claim", required=False, max_length=80)
