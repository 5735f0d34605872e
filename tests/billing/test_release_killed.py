"""Several processes release the same drafts, half of them killed by SIGKILL while they hold one; `tests.bench.released` does it with 20."""

from __future__ import annotations

import pytest

from billing import reconcile
from billing.models import Invoice
from tests.billing.killed import release_all, whole
from tests.billing.made import planned_job

pytestmark = [pytest.mark.needs_postgres, pytest.mark.django_db(transaction=True)]


def test_numbers_have_neither_gap_nor_repeat_when_processes_are_killed_while_they_hold_a_draft():
    for _ in range(16):
        planned_job()

    release_all(processes=6, killed=3)

    numbers = list(Invoice.objects.values_list("number", flat=True))
    assert len(numbers) == 16
    assert whole([number for number in numbers if number], first=1001)
    assert list(reconcile.breaches()) == []
