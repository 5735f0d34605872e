"""The fields and the refusals of the office's forms."""

import datetime as dt

import pytest
from django import forms

from jobs.core.forms import CodeField, DayField, MoneyField, OfficeForm, PhoneField, WattsField, speak, things_to_correct
from jobs.core.phones import Phone
from jobs.core.refusals import Refused


class EveryForm(OfficeForm):
    key = forms.UUIDField(widget=forms.HiddenInput, required=False)
    on = DayField(label="Day", required=False)
    amount = MoneyField(label="Amount", required=False, least_minor=1)
    phone = PhoneField(label="Telephone", required=False)
    code = CodeField(label="Job", required=False)
    watts = WattsField(label="Leg A", required=False)
    street = forms.CharField(label="Street", max_length=160)


def filled(**typed):
    form = EveryForm({"street": "6 Larch Terrace", **typed})
    assert form.is_valid(), form.errors
    return form.cleaned_data


def refused(**typed):
    form = EveryForm({"street": "6 Larch Terrace", **typed})
    assert not form.is_valid()
    return {name: str(errors[0]) for name, errors in form.errors.items()}


def test_what_is_typed_is_read_as_the_pure_modules_read_it():
    assert filled(on="11/18/26")["on"] == dt.date(2026, 11, 18)
    assert filled(amount="$8,640.00")["amount"] == 864_000
    assert filled(phone="303 555 0142 ext 7")["phone"] == Phone("+13035550142", "7")
    assert filled(code=" kq7 m4e ")["code"] == "KQ7M4E"


def test_what_is_left_empty_is_nothing():
    data = filled(on=" ", amount="", phone="", code="", watts=" ")

    assert (data["on"], data["amount"], data["phone"], data["code"], data["watts"]) == (None, None, None, "", None)


def test_a_required_field_of_blanks_is_refused():
    class Wanted(OfficeForm):
        on = DayField(label="Day")
        watts = WattsField(label="Leg A")

    form = Wanted({"on": "  ", "watts": " "})

    assert not form.is_valid()
    assert form.errors == {name: ["Nothing is filled in here, and it is wanted."] for name in ("on", "watts")}


@pytest.mark.parametrize(
    ("typed", "watts"),
    [("640", 640), ("-640", -640), ("\u2212640", -640), ("+0", 0), ("1,200 W", 1200), ("-1,200W", -1200), ("1000000", 1_000_000)],
)
def test_watts_are_whole_and_signed(typed, watts):
    assert filled(watts=typed)["watts"] == watts


@pytest.mark.parametrize("typed", ["640.5", "12,00", "0.64 kW", "six", "--5", "1000001", "9" * 400, "٦٤٠", "1e3"])
def test_what_is_no_reading_is_refused_with_what_is_wanted(typed):
    assert "such as 640" in refused(watts=typed)["watts"]


def test_each_refusal_says_what_is_wanted():
    assert "18 Nov 2026" in refused(on="18.11.2026")["on"]
    assert "8640.00" in refused(amount="12.345")["amount"]
    assert refused(amount="0")["amount"] == "$0.00 is too little. At least $0.01 is wanted."
    assert "area code" in refused(phone="555-0142")["phone"]
    # One character of a true code is wrong: the check character shows it.
    assert refused(code="KQ7M4K")["code"] == '"KQ7M4K" is not a code of ours. Six characters such as KQ7M4E are wanted.'
    assert refused(street="")["street"] == "Nothing is filled in here, and it is wanted."
    assert refused(street="x" * 161)["street"] == "This is 161 characters long; at most 160 can be kept."


def test_a_field_s_own_sentence_is_kept():
    class StateForm(OfficeForm):
        state = forms.CharField(label="State", error_messages={"required": "Two letters are wanted."})
        seal = forms.ChoiceField(label="Seal", choices=[("y", "whole")])

    form = StateForm({})

    assert form.errors == {"state": ["Two letters are wanted."], "seal": ["Nothing is chosen here, and a choice is wanted."]}


def test_a_value_shown_in_a_form_is_read_back_as_the_same():
    for name, value in [
        ("on", dt.date(2026, 6, 3)),
        ("amount", 864_050),
        ("phone", Phone("+13035550142", "7")),
        ("code", "KQ7M4E"),
        ("watts", -1640),
    ]:
        bound = EveryForm(initial={name: value})[name]
        assert filled(**{name: bound.value()})[name] == value


def test_a_day_shown_in_a_form_carries_its_year():
    assert EveryForm(initial={"on": dt.date(2026, 11, 18)})["on"].value() == "18 Nov 2026"


def test_a_stored_number_is_shown_as_people_write_it():
    assert EveryForm(initial={"phone": "+13035550142"})["phone"].value() == "(303) 555-0142"


def test_an_act_s_refusal_stands_at_its_field_and_what_was_typed_stays():
    form = EveryForm({"street": "6 Larch Terrace", "on": "3 Jun 2026"})
    assert form.is_valid()

    form.refuse(Refused("The day lies before the contract.", field="on"))

    assert form.errors == {"on": ["The day lies before the contract."]}
    assert form["on"].value() == "3 Jun 2026"


@pytest.mark.parametrize("field", [None, "serial", "key"])
def test_a_refusal_about_what_the_form_does_not_show_stands_above_it(field):
    form = EveryForm({"street": "6 Larch Terrace"})
    assert form.is_valid()

    form.refuse(Refused("The job is cancelled.", field=field))

    assert form.non_field_errors() == ["The job is cancelled."]
    assert [(wrong.label, wrong.id) for wrong in things_to_correct(form)] == [("", "")]


def test_a_fault_in_a_hidden_field_is_listed_too():
    form = EveryForm({"key": "no key"})

    assert [(wrong.label, wrong.id) for wrong in things_to_correct(form)] == [("", ""), ("Street", "id_street")]


def test_fields_that_a_form_adds_itself_get_our_sentences():
    class Growing(OfficeForm):
        def __init__(self, *args, **kwargs):
            super().__init__(*args, **kwargs)
            self.fields["late"] = forms.IntegerField(label="Late", min_value=1)

    assert Growing({"late": "x"}).errors == {"late": ["A whole number is wanted here, such as 1200."]}
    assert Growing({"late": "0"}).errors == {"late": ["At least 1 is wanted here."]}
    assert 'class="w-short"' in str(Growing()["late"])


def test_a_form_that_django_made_speaks_as_the_office_does():
    class Theirs(forms.Form):
        username = forms.EmailField()

    form = Theirs({"username": "dana"})
    speak(form)

    assert form.errors == {"username": ["This is not an e-mail address. One such as dana@example.com is wanted."]}


def test_widths_tell_the_expected_length():
    form = EveryForm()

    assert 'class="w-day"' in str(form["on"])
    assert 'class="w-short"' in str(form["amount"])
    assert 'class="w-mid"' in str(form["phone"])
    assert 'class="w-long"' in str(form["street"])
