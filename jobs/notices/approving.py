"""Which kinds of message leave by themselves: the rule that a manager approves, kind by kind. All others wait for a person."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from jobs.core import clock, rules, words
from jobs.core.actors import actor
from jobs.core.models import Rule
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right
from jobs.notices import kinds
from jobs.notices.consent import CONFIRMATION
from jobs.notices.kinds import NoticeKind
from jobs.notices.shown import instant

RULE = "notices_by_themselves"


def approved() -> list[NoticeKind]:
    """The kinds that leave by themselves now."""
    names = _names(rules.text(RULE))
    return [kind for kind in kinds.all_kinds() if kind.may_go_by_itself and kind.name in names]


def refuse_unknown(value: str) -> None:
    """The rule names kinds that may leave by themselves, and nothing else: a name mistyped would leave its messages waiting unseen."""
    may = {kind.name for kind in kinds.all_kinds() if kind.may_go_by_itself}
    if strange := [name for name in _names(value) if name not in may]:
        raise Refused(f"“{strange[0]}” is no kind of message that may leave by itself.", field="value")


def _names(value: str) -> list[str]:
    return [name.strip() for name in value.split(",") if name.strip()]


@right("core.run_office")
@require_http_methods(["GET", "HEAD", "POST"])
def by_themselves(request: HttpRequest) -> HttpResponseBase:
    refused = ""
    if request.method == "POST":
        chosen = request.POST.getlist("kinds")
        try:
            _approve(request, chosen)
        except Refused as refusal:
            refused = str(refusal)
        else:
            said = words.listed([kind.words for kind in approved()]) or "none"
            return recorded(request, f"Recorded. These leave by themselves from now on: {said}.", "notices_by_themselves")
    now = {kind.name for kind in approved()}
    newest = Rule.objects.filter(name=RULE).order_by("-pk").first()
    context = {
        "may": [(kind, kind.name in now, words.listed(_ways(kind))) for kind in kinds.all_kinds() if kind.may_go_by_itself],
        # The text that confirms an opt-out answers at once, by law and by no rule of ours.
        "never": [kind for kind in kinds.all_kinds() if not kind.may_go_by_itself and kind.name != CONFIRMATION],
        "count": len(now),
        "refused": refused,
        "set": f"Set by {newest.set_by_name}, {instant(newest.set_at)}." if newest else "Nobody has approved one yet.",
    }
    return render(request, "notices/by_themselves.html", context, status=422 if refused else 200)


def _approve(request: HttpRequest, chosen: list[str]) -> None:
    rules.set_rule(RULE, value=", ".join(sorted(set(chosen))), valid_from=clock.office_today(), by=actor(request))


def _ways(kind: NoticeKind) -> list[str]:
    return ["e-mail", "text message"] if kind.by_text else ["e-mail"]
