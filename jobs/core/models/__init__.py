from jobs.core.models.crew import Crew, CrewMember
from jobs.core.models.facts import Fact, StateChange
from jobs.core.models.files import Document, StoredFile
from jobs.core.models.holds import Hold
from jobs.core.models.job import Contract, Job, Site
from jobs.core.models.links import SignedLink
from jobs.core.models.people import Party, Person, User
from jobs.core.models.phone import PhonePart
from jobs.core.models.records import Heartbeat, IdempotencyKey, ImportRun, Rule, Secret, Trace

__all__ = [
    "Contract",
    "Crew",
    "CrewMember",
    "Document",
    "Fact",
    "Heartbeat",
    "Hold",
    "IdempotencyKey",
    "ImportRun",
    "Job",
    "Party",
    "Person",
    "PhonePart",
    "Rule",
    "Secret",
    "SignedLink",
    "Site",
    "StateChange",
    "StoredFile",
    "Trace",
    "User",
]
