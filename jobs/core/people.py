"""Acts on the people of the office: their account, their roles, their crew."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from jobs.core import clock
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.models import Crew, CrewMember, User
from jobs.core.refusals import Refused
from jobs.core.rights import MANAGER


@act(right="core.run_office")
def add_user(email: str, *, name: str, password: str, roles: Sequence[str], zone: str, languages: Sequence[str], by: Actor) -> User:
    """A new person with a first password, which they change themselves."""
    try:
        validate_password(password, User(email=email, name=name))
    except ValidationError as fault:
        raise Refused(" ".join(fault.messages), field="password") from fault
    try:
        with transaction.atomic():
            user = User.objects.create_user(email=email, password=password, name=name, zone=zone, languages=list(languages))
    except IntegrityError:
        raise Refused(f"{email} is already somebody's sign-in.", field="email") from None
    user.groups.set(Group.objects.filter(name__in=roles))
    return user


@act(right="core.run_office", on=User)
def change_user(user: User, *, name: str, roles: Sequence[str], zone: str, languages: Sequence[str], is_active: bool, by: Actor) -> User:
    """Change name, roles and whether the person may sign in. The last manager cannot be shut out."""
    managers = User.objects.filter(groups__name=MANAGER, is_active=True).exclude(pk=user.pk)
    if not managers.exists() and user.groups.filter(name=MANAGER).exists() and (MANAGER not in roles or not is_active):
        raise Refused(f"{user.name} is the only operations manager; give another person the role first.", field="roles")
    user.name, user.zone, user.languages, user.is_active = name, zone, list(languages), is_active
    user.save(update_fields=["name", "zone", "languages", "is_active"])
    user.groups.set(Group.objects.filter(name__in=roles))
    return user


@act(right="core.run_office")
def add_crew(name: str, *, by: Actor) -> Crew:
    one_at_a_time("crews")
    if Crew.objects.filter(name__iexact=name.strip()).exists():
        raise Refused(f"There is already a crew named {name.strip()}.", field="name")
    return Crew.objects.create(name=name.strip())


@act(right="core.run_office", on=User)
def join_crew(user: User, *, crew: Crew | None, by: Actor) -> User:
    """Put a person into one crew from today; none takes them out of the one they are in."""
    today = clock.office_today()
    CrewMember.objects.on(today).filter(user=user).exclude(crew=crew).update(to_on=today - dt.timedelta(days=1))
    if crew is not None and not CrewMember.objects.on(today).filter(user=user, crew=crew).exists():
        CrewMember.objects.create(crew=crew, user=user, from_on=today)
    return user
