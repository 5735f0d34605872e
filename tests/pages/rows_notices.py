from __future__ import annotations

from typing import Any

from jobs.core import clock, files, links
from jobs.core.models import User
from jobs.core.states import S as JobState
from jobs.notices import outbox
from jobs.notices.models import Message, MessageFile, Received, State
from tests.make import SYSTEM, make_job
from tests.notices.make import claimed, removed
from tests.pages.addresses import ALL, STRANGERS, M, Row, S, roles

WHO = roles(M, S)


def _owed(user: User | None) -> dict[str, Any]:
    return {"uid": removed().uid}


def _in_its_minute(user: User | None) -> dict[str, Any]:
    return {"uid": outbox.release(removed(), by=SYSTEM).uid}


def _in_state(state: State):
    def make(user: User | None) -> dict[str, Any]:
        message = claimed()
        Message.objects.filter(pk=message.pk).update(state=state, claimed_until=None)
        return {"uid": message.uid}

    return make


def _with_file(user: User | None) -> dict[str, Any]:
    message = claimed()
    MessageFile.objects.create(
        message=message, position=0, file=files.store(b"%PDF-1.7"), name="invoice.pdf", content_type="application/pdf"
    )
    return {"uid": message.uid, "position": 0}


def _job(user: User | None) -> dict[str, Any]:
    return {"code": make_job().code}


def _job_with_bag(user: User | None) -> dict[str, Any]:
    return {"code": make_job(JobState.AWAITING_UTILITY).code}


def _reply(user: User | None) -> dict[str, Any]:
    row = Received.objects.create(
        channel="text",
        event=f"E-{Received.objects.count()}",
        kind="reply",
        address="+13035550142",
        text="Friday?",
        raw="{}",
        at=clock.now(),
        for_person=True,
    )
    return {"uid": row.uid}


def _bag_link(user: User | None) -> dict[str, Any]:
    job = make_job(JobState.AWAITING_UTILITY)
    return {"token": links.make("bag_photo", job=job, person=job.parties.get(role="owner").person)}


ROWS = {
    "bag_photo": Row(ALL | STRANGERS, ALL | STRANGERS, _bag_link),
    "received_list": Row(WHO),
    "received": Row(WHO, WHO, _reply),
    "consents": Row(WHO, None, _job),
    "consent_give": Row(WHO, WHO, _job),
    "consent_end": Row(WHO, WHO, _job),
    "telephone": Row(WHO, WHO, _job),
    "notices_by_themselves": Row(roles(M), roles(M)),
    "ask_photo": Row(WHO, WHO, _job_with_bag),
    "ask_paper": Row(WHO, WHO, _job),
    "notice_at_once": Row(WHO, WHO, _owed),
    "notices": Row(WHO),
    "notices_export": Row(WHO, None, lambda user: {"ending": "csv"}),
    "notices_release": Row(WHO, WHO),
    "notice": Row(WHO, None, _owed),
    "notice_mail": Row(WHO, None, _owed),
    "notice_file": Row(WHO, None, _with_file),
    "notice_release": Row(WHO, WHO, _owed),
    "notice_take_back": Row(None, WHO, _in_its_minute),
    "notice_withdraw": Row(WHO, WHO, _owed),
    "notice_send_again": Row(WHO, WHO, _in_state(State.FAILED)),
    "notice_arrived": Row(WHO, WHO, _in_state(State.MAY_HAVE_BEEN_SENT)),
    "notice_look_again": Row(None, WHO, _owed),
    "notice_consent": Row(WHO, WHO, _owed),
    # The signature is asked, not who is signed in.
    "hook_texts": Row(None, STRANGERS | ALL),
    "hook_mail": Row(None, STRANGERS | ALL),
}
