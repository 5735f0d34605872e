"""The base of the office's forms: what was typed is read by the pure modules, and a refusal stands at its field."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

from django import forms
from django.core.exceptions import ValidationError

from jobs.core import codes, money, phones, rules, words
from jobs.core.refusals import Refused

Read = TypeVar("Read")

# What Django says by default, said as the office speaks: what is wrong and what is wanted.
_SENTENCES: dict[type[forms.Field], dict[str, str]] = {
    forms.Field: {"required": "Nothing is filled in here, and it is wanted."},
    forms.CharField: {"max_length": "This is %(show_value)d characters long; at most %(limit_value)d can be kept."},
    forms.ChoiceField: {
        "required": "Nothing is chosen here, and a choice is wanted.",
        "invalid_choice": '"%(value)s" is not one of the choices. Choose one of those offered.',
    },
    forms.ModelChoiceField: {
        "required": "Nothing is chosen here, and a choice is wanted.",
        "invalid_choice": "What was chosen is no longer there. Choose one of those offered.",
    },
    forms.FileField: {"required": "No file is chosen, and one is wanted.", "empty": "The file is empty. Choose the file that was meant."},
    forms.IntegerField: {
        "invalid": "A whole number is wanted here, such as 1200.",
        "min_value": "At least %(limit_value)s is wanted here.",
        "max_value": "At most %(limit_value)s can be right here.",
    },
    forms.TimeField: {"invalid": "A time in 24 hours is wanted here, such as 14:30."},
    forms.EmailField: {"invalid": "This is not an e-mail address. One such as dana@example.com is wanted."},
}

# A homeowner's form has no typed days or amounts: these are all it can say.
_SENTENCES_ES: dict[type[forms.Field], dict[str, str]] = {
    forms.Field: {"required": "Aquí falta la respuesta."},
    forms.CharField: {"max_length": "Tiene %(show_value)d caracteres; se pueden guardar %(limit_value)d como máximo."},
    forms.ChoiceField: {
        "required": "No ha elegido nada aquí. Elija una de las opciones.",
        "invalid_choice": "Esa opción ya no está. Elija una de las que se ofrecen.",
    },
    forms.EmailField: {"invalid": "No es una dirección de correo electrónico. Escriba una como ana@example.com."},
}


class OfficeForm(forms.Form):
    """Labels without a colon, our own sentences, widths that tell the expected length, and `refuse` for an act's refusal.

    `lang` is the language of a homeowner's page; the templates of fields and errors read it too.
    """

    def __init__(self, *args: Any, lang: words.Lang = "en", **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        self.lang = lang
        super().__init__(*args, **kwargs)

    def __getitem__(self, name: str) -> forms.BoundField:
        # Here and not in __init__, because a form may add fields after ours has run.
        _dress(self.fields[name], lang=self.lang)
        return super().__getitem__(name)

    def full_clean(self) -> None:
        speak(self)
        super().full_clean()

    def refuse(self, refusal: Refused) -> None:
        """Put an act's refusal at the field it is about, or above the form if the form does not show that field."""
        shown = refusal.field in self.fields and not self.fields[refusal.field].widget.is_hidden
        self.add_error(refusal.field if shown else None, str(refusal))


class KeyedForm(OfficeForm):
    """A form whose key is made with its page: sent twice, it is recorded once."""

    key = forms.CharField(widget=forms.HiddenInput, required=False, max_length=80)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = lambda: str(uuid.uuid4())

    @property
    def given_key(self) -> str | None:
        return str(self.cleaned_data.get("key") or "") or None

    @property
    def told(self) -> dict[str, Any]:
        """What was typed, without the key."""
        return {name: value for name, value in self.cleaned_data.items() if name != "key"}


class DayField(forms.Field):
    """A typed day, "18 Nov 2026" or "11/18/26" (month/day/year); gives a date, or None if left empty."""

    widget = forms.TextInput
    width = "w-day"

    def to_python(self, value: Any) -> dt.date | None:
        if value is None or isinstance(value, dt.date):
            return value
        if not value.strip():
            return None
        return _read(words.parse_day, value)

    def prepare_value(self, value: Any) -> Any:
        # With its year always, so that what is shown can be read again.
        return words.day_short(value, today=dt.date.min) if isinstance(value, dt.date) else value

    def read_as(self, typed: Any, *, lang: words.Lang = "en") -> str:
        """The typed day in words, with its weekday, so that a wrong reading is seen: "Wednesday, 18 November 2026"."""
        try:
            day = self.to_python(typed)
        except ValidationError:
            return ""
        if day and lang == "es":
            return f"{words.day_long_home(day, lang='es')} de {day.year}"
        return f"{words.day_long_home(day, lang='en').split(',')[0]}, {words.day(day)}" if day else ""


class MoneyField(forms.Field):
    """An amount, "$8,640.00"; gives whole minor units, or None if left empty. Not less than `least_minor`, if that is given."""

    widget = forms.TextInput
    width = "w-short"

    def __init__(self, *, least_minor: int | None = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least_minor = least_minor

    def to_python(self, value: Any) -> int | None:
        if value is None or isinstance(value, int):
            return value
        if not value.strip():
            return None
        amount = _read(money.minor, value)
        if self.least_minor is not None and amount < self.least_minor:
            raise ValidationError(f"{money.shown(amount)} is too little. At least {money.shown(self.least_minor)} is wanted.")
        return amount

    def prepare_value(self, value: Any) -> Any:
        return money.shown(value) if isinstance(value, int) else value


class PhoneField(forms.Field):
    """A telephone number as people write it; gives phones.Phone (E.164 and extension), or None if left empty."""

    widget = forms.TextInput
    width = "w-mid"

    def to_python(self, value: Any) -> phones.Phone | None:
        if value is None or isinstance(value, phones.Phone):
            return value
        if not value.strip():
            return None
        return _read(phones.e164, value)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, phones.Phone):
            return phones.shown(value.number, extension=value.extension)
        return phones.shown(value) if isinstance(value, str) and re.fullmatch(r"\+[0-9]{8,15}", value) else value


class ZoneField(forms.ChoiceField):
    """A time zone of the country, by the name people call it and its IANA name; gives the IANA name.

    The office's own is chosen beforehand: most homes stand in it, and the first of the alphabet would put one entered in haste in the
    Aleutians.
    """

    def __init__(self, **kwargs: Any) -> None:
        named = [(zone, f"{words.zone_words(zone, lang='en')} ({zone})") for zone in sorted(words.HOME_ZONES)]
        super().__init__(choices=named, initial=lambda: rules.text("office_zone"), **kwargs)


class CodeField(forms.Field):
    """A job's or request's code, in any spelling of capitals and blanks; gives it in its one form, or "" if left empty."""

    widget = forms.TextInput
    width = "w-short"

    def to_python(self, value: Any) -> str:
        code = codes.normal(value or "")
        if code and not codes.is_code(code):
            raise ValidationError(f'"{value.strip()}" is not a code of ours. Six characters such as KQ7M4E are wanted.')
        return code


class WattsField(forms.Field):
    """A power reading in whole watts with its sign, "-640" or "1,200 W"; gives an int, or None if left empty."""

    widget = forms.TextInput
    width = "w-short"
    # No home's service carries a thousandth of this; more is a slip of the hand.
    MOST = 1_000_000

    def to_python(self, value: Any) -> int | None:
        if value is None or isinstance(value, int):
            return value
        typed = value.strip()
        if not typed:
            return None
        found = re.fullmatch(r"([-+\u2212]?)\s?([0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)\s?[Ww]?", typed, re.ASCII)
        if not found:
            raise ValidationError(f'"{typed}" is not a reading. Whole watts with their sign are wanted, such as 640 or -640.')
        size = int(found[2].replace(",", "")) if len(found[2]) < 15 else self.MOST + 1
        if size > self.MOST:
            raise ValidationError(f'"{typed}" is more than any home draws. The reading in watts is wanted, such as 640.')
        return -size if found[1] in ("-", words.MINUS) else size

    def prepare_value(self, value: Any) -> Any:
        return words.number(value) if isinstance(value, int) else value


def speak(form: forms.BaseForm) -> None:
    """Our sentences and widths for a form that Django made, such as the one for signing in; before it is checked."""
    for field in form.fields.values():
        _dress(field, lang=getattr(form, "lang", "en"))


@dataclass(frozen=True)
class Wrong:
    """One thing to correct: the label of its field, the sentence, and the id of what to put right ("" for the whole form)."""

    label: str
    sentence: str
    id: str


def things_to_correct(form: forms.BaseForm) -> list[Wrong]:
    """What the ruled box at the top of a form lists, in the order of the page; of any Django form."""
    return [Wrong("", str(sentence), "") for sentence in form.non_field_errors()] + list(_at_fields(form))


def _at_fields(form: forms.BaseForm) -> Iterator[Wrong]:
    for bound in form:
        if bound.is_hidden:
            # Nobody can reach it: the sentence alone must do.
            yield from (Wrong("", str(sentence), "") for sentence in bound.errors)
            continue
        # Of a group of radio buttons or boxes only the single ones can hold the focus.
        target = f"{bound.auto_id}_0" if bound.use_fieldset else bound.auto_id
        yield from (Wrong(str(bound.label), str(sentence), target) for sentence in bound.errors)


def _read(reader: Callable[[str], Read], value: str) -> Read:
    try:
        return reader(value)
    except ValueError as fault:
        raise ValidationError(str(fault)) from None


def _dress(field: forms.Field, *, lang: words.Lang) -> None:
    """Our sentences where the form gave none of its own, a width, and what a browser must not do to what is typed."""
    ours: dict[str, str] = {}
    # The general kind first, so that the special one has the last word; and what has no Spanish yet is at least our own sentence.
    for kind, sentences in (*_SENTENCES.items(), *(_SENTENCES_ES.items() if lang == "es" else ())):
        if isinstance(field, kind):
            ours.update(sentences)
    for code, sentence in ours.items():
        if field.error_messages.get(code) == _as_django_says(field, code):
            field.error_messages[code] = sentence
    widget = field.widget
    if isinstance(widget, forms.TextInput | forms.Textarea | forms.NumberInput) and "class" not in widget.attrs:
        widget.attrs["class"] = _width(field)
    if isinstance(field, DayField | MoneyField | CodeField | WattsField):
        widget.attrs.setdefault("autocomplete", "off")
        widget.attrs.setdefault("spellcheck", "false")
    if isinstance(field, MoneyField):
        widget.attrs.setdefault("inputmode", "decimal")
    if isinstance(field, PhoneField):
        widget.attrs.setdefault("inputmode", "tel")


def _as_django_says(field: forms.Field, code: str) -> Any:
    said = None
    for kind in reversed(type(field).__mro__):
        said = getattr(kind, "default_error_messages", {}).get(code, said)
    return said


def _width(field: forms.Field) -> str:
    own = getattr(field, "width", "")
    if own:
        return str(own)
    if isinstance(field, forms.IntegerField | forms.TimeField):
        return "w-short"
    longest = getattr(field, "max_length", None)
    if longest is None or longest > 60 or isinstance(field.widget, forms.Textarea):
        return "w-long"
    return "w-short" if longest <= 20 else "w-mid"
