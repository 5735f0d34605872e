"""Who acts: a person of the office, a signed link, a rule, a webhook or a command. All go through the same acts."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.http import HttpRequest

if TYPE_CHECKING:
    from jobs.core.models import BagTag, Job, SignedLink, User

# What the holder of a link of each purpose may do, on the link's own job only.
LINK_RIGHTS = {
    "call": frozenset({"core.answer_call"}),
    "bag_photo": frozenset({"core.answer_bag_photo"}),
}


@dataclass(frozen=True)
class Actor:
    key: str  # names the actor in idempotency keys: "person 12"
    name: str  # in words, for traces and the ledger
    source: str  # page, api, link, rule, webhook, command, import
    user: User | None = None
    rights: frozenset[str] = field(default_factory=frozenset)
    job_id: int | None = None  # the only job that a link may touch
    everywhere: bool = False  # a rule or command: every right, every job
    sending: str = ""  # the key made on a phone; the facts recorded by its sending carry it as their source's key

    def may(self, right: str) -> bool:
        if self.user is not None:
            return self.user.is_active and self.user.has_perm(right)
        return self.everywhere or right in self.rights

    @property
    def quiet(self) -> bool:
        """Facts that come by import owe nobody a message and earn no invoice."""
        return self.source == "import"


def person(user: User, *, source: str = "page") -> Actor:
    return Actor(key=f"person {user.pk}", name=user.name, source=source, user=user)


def member(request: HttpRequest) -> User:
    """The signed-in person behind a request; the view's right has seen to it that there is one."""
    from jobs.core.models import User

    assert isinstance(request.user, User)
    return request.user


def actor(request: HttpRequest) -> Actor:
    return person(member(request))


def link(signed: SignedLink) -> Actor:
    return Actor(
        key=f"link {signed.uid}",
        name=signed.person.name,
        source="link",
        rights=LINK_RIGHTS[signed.purpose],
        job_id=signed.job_id,
    )


def at_the_bag(tag: BagTag) -> Actor:
    """Whoever stands at the bag and reads its tag: may tell what was found there, and nothing else."""
    return Actor(key=f"tag {tag.uid}", name="whoever read the tag", source="tag", rights=frozenset({"core.tell_by_tag"}), job_id=tag.job_id)


def rule(name: str) -> Actor:
    """A rule that a person approved, acting by itself."""
    return Actor(key=f"rule {name}", name=f"rule: {name}", source="rule", everywhere=True)


def command(name: str, *, source: str = "command") -> Actor:
    """Whoever runs manage.py on the machine has its database in hand; no right is asked."""
    return Actor(key=f"command {name}", name=f"command: {name}", source=source, everywhere=True)


def sees(by: Actor, job: Job) -> bool:
    """Whether the actor may know of this job."""
    if by.user is not None:
        return type(job).objects.seen_by(by.user).filter(pk=job.pk).exists()
    return by.everywhere or by.job_id == job.pk
