"""Who may do what: the table that groups are made from (by a migration, which holds its own copy) and tests compare with.

Rights are permissions of this app ("core.record_facts"), whichever app asks for them, so that the table stands in one place.
The manager can give a right to another group or person.
"""

from __future__ import annotations

MANAGER = "operations manager"
SCHEDULER = "scheduler"
FINANCE = "finance"
VERIFIER = "verifier"
CREW = "crew"
ROLES = (MANAGER, SCHEDULER, FINANCE, VERIFIER, CREW)

_M, _S, _F, _V, _C = ROLES

# right: (in words, the groups that begin with it)
RIGHTS: dict[str, tuple[str, frozenset[str]]] = {
    "see_jobs": ("See all jobs", frozenset({_M, _S, _F, _V})),
    "see_own_jobs": ("See the jobs of their own crew", frozenset({_C})),
    "see_utilities": ("See utilities, requests and forecasts", frozenset({_M, _S, _F, _V})),
    "see_money": ("See amounts of money", frozenset({_M, _F})),
    "see_medical": ("See the medical answer", frozenset({_M, _S, _V})),
    "see_calls": ("See verification calls", frozenset({_M, _S, _V})),
    "see_notices": ("See messages", frozenset({_M, _S})),
    "add_jobs": ("Add jobs and import them", frozenset({_M, _S})),
    "set_plan": ("Set contract and milestone plan before the first invoice", frozenset({_M, _F})),
    "assign_crew": ("Assign a crew and the install day", frozenset({_M, _S})),
    "record_day_one": ("Record day one, photos and the CT check", frozenset({_M, _C})),
    "record_custody": ("Record where the collar is", frozenset({_M, _S, _C})),
    "record_papers": ("Record permission to operate, inspections and papers", frozenset({_M, _S})),
    "record_requests": ("Record requests, sendings, visits and contacts", frozenset({_M, _S})),
    "record_gateway": ("Record gateway, software and communications", frozenset({_M, _S, _V})),
    "record_medical": ("Record the medical answer", frozenset({_S, _V, _C})),
    "record_emergency": ("Record an emergency at a home", frozenset({_M, _S, _F, _V, _C})),
    "end_emergency": ("Record the end of an emergency", frozenset({_M, _S})),
    "edit_utilities": ("Edit utilities, calendars and their profile", frozenset({_M})),
    "hold": ("Put on hold and lift", frozenset({_M, _S})),
    "cancel_jobs": ("Cancel a job", frozenset({_M})),
    "correct_facts": ("Correct a fact of one's own kind within its days", frozenset({_M, _S, _F, _V, _C})),
    "correct_any_fact": ("Correct any fact at any time", frozenset({_M})),
    "book_calls": ("Book, move and cancel calls", frozenset({_M, _S, _V})),
    "book_any_call": ("Book calls of every verifier", frozenset({_M, _S})),
    "set_hours": ("Set the verifiers' hours", frozenset({_M, _S})),
    "release_notices": ("Release messages", frozenset({_M, _S})),
    "verify": ("Hold a verification call and record it", frozenset({_V})),
    "void_verification": ("Correct a verification record by addition", frozenset({_M})),
    "reveal_codes": ("Keep and see a gate code, each time with a purpose", frozenset({_M, _S, _V, _C})),
    "reveal_any_code": ("See the gate code of any home at any time", frozenset({_M, _S})),
    "bill": ("Release invoices, record payments", frozenset({_F})),
    "run_office": ("People, rules and webhooks", frozenset({_M})),
}
