"""The demo's contractor: invented people and homes, made anew into an empty database by `start --demo`."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import Group

from jobs.core.models import User
from jobs.core.rights import CREW, FINANCE, MANAGER, SCHEDULER, VERIFIER

# One sign-in for each role; the password is printed on the sign-in page, in demo mode only.
PEOPLE = (
    (MANAGER, "Dana Ruiz", "dana"),
    (SCHEDULER, "Theo Lindgren", "theo"),
    (FINANCE, "Farida Novak", "farida"),
    (VERIFIER, "Mara Quist", "mara"),
    (CREW, "Joel Amadi", "joel"),
)


def make() -> None:
    """Fill an empty database. Called inside one transaction: killed half-way, nothing is left."""
    _people()


def _people() -> None:
    for role, name, mailbox in PEOPLE:
        user = User.objects.create_user(
            email=f"{mailbox}@larchlantern.example", password=settings.DEMO_PASSWORD, name=name, languages=["en", "es"], is_demo=True
        )
        user.groups.add(Group.objects.get(name=role))
