"""Pages about the office itself: signing in, passwords, people, rules."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth import views as auth_views
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from jobs.core import clock, people, rules
from jobs.core.actors import actor
from jobs.core.forms import DayField, OfficeForm, ZoneField, speak
from jobs.core.models import Crew, CrewMember, Rule, User
from jobs.core.models.people import Language
from jobs.core.refusals import Refused
from jobs.core.rights import ROLES
from jobs.core.views import answer
from jobs.core.web import recorded, right


class SignInForm(AuthenticationForm):
    def confirm_login_allowed(self, user: Any) -> None:
        super().confirm_login_allowed(user)
        if user.is_demo and not settings.DEMO:
            # Their password is printed in the README's demo; with the demo off they are nobody.
            raise forms.ValidationError("This sign-in belongs to the demo, and the demo is off.")


class SignIn(auth_views.LoginView):
    authentication_form = SignInForm
    template_name = "core/sign_in.html"
    redirect_authenticated_user = True

    def get_form(self, form_class: Any = None) -> AuthenticationForm:
        form = super().get_form(form_class)
        form.fields["username"].label = "E-mail"
        speak(form)
        return form

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "demo_people": demo_people()}

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        response = self.render_to_response(self.get_context_data(form=form))
        response.status_code = 422
        return response


def demo_people() -> list[tuple[str, str, str]]:
    """The demo's sign-ins, shown in demo mode only."""
    if not settings.DEMO:
        return []
    users = User.objects.filter(is_demo=True).prefetch_related("groups").order_by("pk")
    return [(user.role_words, user.email, settings.DEMO_PASSWORD) for user in users]


class Password(auth_views.PasswordChangeView):
    template_name = "core/password.html"

    def get_form(self, form_class: Any = None) -> PasswordChangeForm:
        form = super().get_form(form_class)
        speak(form)
        return form

    def form_invalid(self, form: PasswordChangeForm) -> HttpResponse:
        response = self.render_to_response(self.get_context_data(form=form))
        response.status_code = 422
        return response

    def get_success_url(self) -> str:
        return "/"


class PersonForm(OfficeForm):
    name = forms.CharField(label="Name", max_length=120)
    roles = forms.MultipleChoiceField(label="Roles", choices=[(r, r) for r in ROLES], widget=forms.CheckboxSelectMultiple)
    zone = ZoneField(label="Time zone")
    languages = forms.MultipleChoiceField(label="Languages", choices=Language.choices, widget=forms.CheckboxSelectMultiple, required=False)
    crew = forms.ModelChoiceField(label="Crew", queryset=Crew.objects.order_by("name"), required=False, empty_label="none")


class NewPersonForm(PersonForm):
    email = forms.EmailField(label="E-mail, for signing in")
    password = forms.CharField(
        label="First password", widget=forms.PasswordInput, help_text="At least 12 characters; they change it themselves."
    )


class KnownPersonForm(PersonForm):
    is_active = forms.BooleanField(label="May sign in", required=False)


@right("core.run_office")
@require_safe
def people_list(request: HttpRequest) -> HttpResponseBase:
    today = clock.office_today()
    memberships = Prefetch("crew_memberships", CrewMember.objects.on(today).select_related("crew"), to_attr="crews_today")
    users = User.objects.prefetch_related("groups", memberships).order_by("-is_active", "name")
    members: dict[str, list[str]] = {}
    for user in users:
        for membership in user.crews_today:
            members.setdefault(membership.crew.name, []).append(user.name)
    crews = [(name, members.get(name, [])) for name in Crew.objects.order_by("name").values_list("name", flat=True)]
    return render(request, "core/people.html", {"people": users, "crews": crews})


@right("core.run_office")
def person_new(request: HttpRequest) -> HttpResponseBase:
    form = NewPersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        crew = data.pop("crew")
        try:
            user = people.add_user(data.pop("email"), **data, by=actor(request))
            if crew:
                people.join_crew(user, crew=crew, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{user.name} may sign in now.", "people")
    return answer(request, "core/person.html", form, person=None)


@right("core.run_office")
def person(request: HttpRequest, uid: str) -> HttpResponseBase:
    user = get_object_or_404(User, uid=uid)
    membership = CrewMember.objects.on(clock.office_today()).filter(user=user).first()
    initial = {
        "name": user.name,
        "roles": [group.name for group in user.groups.all()],
        "zone": user.zone,
        "languages": user.languages,
        "crew": membership.crew_id if membership else None,
        "is_active": user.is_active,
    }
    form = KnownPersonForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        crew = data.pop("crew")
        try:
            people.change_user(user, **data, by=actor(request))
            people.join_crew(user, crew=crew, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{user.name} is changed.", "people")
    return answer(request, "core/person.html", form, person=user)


class CrewForm(OfficeForm):
    name = forms.CharField(label="Name of the crew", max_length=80)


@right("core.run_office")
def crew_new(request: HttpRequest) -> HttpResponseBase:
    form = CrewForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            crew = people.add_crew(form.cleaned_data["name"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{crew.name} is entered.", "people")
    return answer(request, "core/crew.html", form)


class RuleForm(OfficeForm):
    value = forms.CharField(label="Value", max_length=400)
    valid_from = DayField(label="From")


@right("core.run_office")
@require_safe
def rule_list(request: HttpRequest) -> HttpResponseBase:
    newest: dict[str, Rule] = {}
    today = clock.office_today()
    for row in Rule.objects.filter(valid_from__lte=today):
        newest[row.name] = row
    groups: dict[str, list[dict[str, object]]] = {}
    for name, kind in rules.RULES.items():
        held = newest.get(name)
        line = {"name": name, "kind": kind, "value": kind.shown(held.value if held else kind.default), "row": held}
        groups.setdefault(kind.group, []).append(line)
    return render(request, "core/rules.html", {"groups": groups})


@right("core.run_office")
def rule(request: HttpRequest, name: str) -> HttpResponseBase:
    kind = rules.RULES.get(name)
    if kind is None:
        return render(request, "404.html", {"sentence": f"There is no rule named {name}."}, status=404)
    form = RuleForm(request.POST or None, initial={"value": rules.value(name), "valid_from": clock.office_today()})
    field = form.fields["value"]
    field.label, field.required, field.help_text = kind.words, not isinstance(kind.default, str), kind.bounds
    if isinstance(kind.default, int):
        field.widget.attrs["class"] = "w-short"
    if request.method == "POST" and form.is_valid():
        try:
            rules.set_rule(name, value=form.cleaned_data["value"], valid_from=form.cleaned_data["valid_from"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{kind.words}: {kind.shown(form.cleaned_data['value'])}.", "rules")
    past = Rule.objects.filter(name=name).order_by("-valid_from", "-pk")
    held = past.filter(valid_from__lte=clock.office_today()).first()
    lines = [(row, kind.shown(row.value)) for row in past]
    return answer(request, "core/rule.html", form, kind=kind, now=kind.shown(rules.value(name)), held=held, past=lines)
