"""Taps at the meter's pulses, in a real browser."""

from __future__ import annotations

import pytest
from django.urls import reverse

from jobs.core.metertiming import taps_in
from tests.make import make_job, make_user

pytestmark = [pytest.mark.needs_browser, pytest.mark.django_db(transaction=True)]


def test_each_tap_writes_its_seconds_and_sends_nothing(office, sign_in):
    page = sign_in(make_user("operations manager"))
    page.goto(f"{office.url}{reverse('record', kwargs={'code': make_job().code, 'what': 'meter-timed'})}")
    button = page.get_by_role("button", name="Tap at each pulse")

    for _ in range(3):
        button.click()
    button.press("Enter")

    field = page.get_by_label("Seconds at each pulse")
    taps = taps_in(field.input_value())
    assert taps[0] == 0
    assert len(taps) == 4
    assert list(taps) == sorted(taps)
    assert page.get_by_role("status").inner_text().startswith("4 taps, ")
    field.fill("")
    button.click()
    assert taps_in(field.input_value()) == (0,)
    assert page.url.endswith("/meter-timed/")
