from jobs.core.models.crew import Crew, CrewMember
from jobs.core.models.custody import BagReport, BagTag, Collar, CollarMove, DesignDocument, Place, WithdrawnRevision
from jobs.core.models.facts import Fact, StateChange
from jobs.core.models.files import Document, StoredFile
from jobs.core.models.holds import Hold
from jobs.core.models.imports import ImportChunk, ImportRefusal, ImportRun
from jobs.core.models.job import Contract, Job, Site
from jobs.core.models.links import SignedLink
from jobs.core.models.papers import Authority, ExpiringPaper, PaperExtension, PaperKind, WarrantyTerm
from jobs.core.models.people import Party, Person, User
from jobs.core.models.phone import PhonePart
from jobs.core.models.records import Heartbeat, IdempotencyKey, Rule, Secret, Trace

__all__ = [
    "Authority",
    "BagReport",
    "BagTag",
    "Collar",
    "CollarMove",
    "Contract",
    "Crew",
    "CrewMember",
    "DesignDocument",
    "Document",
    "ExpiringPaper",
    "Fact",
    "Heartbeat",
    "Hold",
    "IdempotencyKey",
    "ImportChunk",
    "ImportRefusal",
    "ImportRun",
    "Job",
    "PaperExtension",
    "PaperKind",
    "Party",
    "Person",
    "PhonePart",
    "Place",
    "Rule",
    "Secret",
    "SignedLink",
    "Site",
    "StateChange",
    "StoredFile",
    "Trace",
    "User",
    "WarrantyTerm",
    "WithdrawnRevision",
]
