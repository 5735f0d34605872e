"""Facts that changed after an invoice left stand as questions; finance answers them."""

from __future__ import annotations

from billing.models import Milestone
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused


@act(right="core.bill", on=Milestone)
def answer_question(milestone: Milestone, *, answer: str, by: Actor) -> Milestone:
    """Say what becomes of it. The same question is not asked again; the invoice stays as it is."""
    if not milestone.question:
        raise Refused("There is no open question about this milestone; it was answered, or the facts agree again.")
    if not answer.strip():
        raise Refused("Say what was decided; it stands with the invoice.", field="answer")
    milestone.answered, milestone.answer = milestone.question, f"{answer.strip()} ({by.name})"
    milestone.question, milestone.question_on = "", None
    milestone.save(update_fields=["answered", "answer", "question", "question_on"])
    return milestone
