"""Papers sent along with a request are chosen by what the outside may know of them."""

from __future__ import annotations

import pytest
from django.urls import reverse

from jobs.core import files
from tests.make import PNG, SYSTEM, user_of
from tests.utilities.made import make_service
from utilities.models import Sending

pytestmark = pytest.mark.django_db


def test_a_paper_sent_along_stands_with_the_sending_and_no_numeric_key_leaves(client, theo):
    service = make_service()
    paper = files.add_document(service.job, name="one-line.png", data=PNG, subject="one-line diagram", by=SYSTEM)
    client.force_login(user_of(theo))
    address = reverse("request_sent", kwargs={"uid": service.uid})

    shown = client.get(address).content.decode()
    client.post(address, {"on": "3 Jun 2026", "route": "portal", "reference": "", "note": "", "documents": [str(paper.uid)]})

    assert f'value="{paper.uid}"' in shown
    assert [kept.document for kept in Sending.objects.get().files.all()] == [paper]


def test_a_paper_of_another_home_is_not_sent_along(client, theo):
    service, other = make_service(), make_service()
    theirs = files.add_document(other.job, name="one-line.png", data=PNG, subject="one-line diagram", by=SYSTEM)
    client.force_login(user_of(theo))

    form = {"on": "3 Jun 2026", "route": "portal", "reference": "", "note": "", "documents": [str(theirs.uid)]}
    answer = client.post(reverse("request_sent", kwargs={"uid": service.uid}), form)

    assert answer.status_code == 422
    assert not Sending.objects.exists()
