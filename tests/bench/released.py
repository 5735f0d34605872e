"""Processes that release drafts at once, half of them killed by SIGKILL while they hold one: the numbers have neither gap nor repeat.

    python -m tests.bench.released [--drafts 200] [--processes 20] [--killed 10]

The test tests/billing/test_release_killed.py at its full size. Starts a PostgreSQL of its own. Run by hand.
"""

from __future__ import annotations

import argparse
import sys
import time

from tests.bench.notices import office


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--drafts", type=int, default=200)
    parser.add_argument("--processes", type=int, default=20)
    parser.add_argument("--killed", type=int, default=10)
    told = parser.parse_args()
    with office(mail_port=1):
        from billing import reconcile
        from billing.models import Invoice
        from tests.billing.killed import release_all, whole
        from tests.billing.made import planned_job

        for _ in range(told.drafts):
            planned_job()
        began = time.perf_counter()
        release_all(processes=told.processes, killed=told.killed)
        seconds = time.perf_counter() - began
        numbers = [number for number in Invoice.objects.values_list("number", flat=True) if number]
        breaches = list(reconcile.breaches())
        print(f"{len(numbers)} of {told.drafts} drafts released by {told.processes} processes, {told.killed} of them killed holding one")
        print(f"{told.drafts / seconds:.0f} invoices a second; reconcile: {breaches or 'no breach'}")
        kept = len(numbers) == told.drafts and whole(numbers, first=1001) and not breaches
        print("neither gap nor repeat" if kept else "NOT WHOLE")
    sys.exit(0 if kept else 1)


if __name__ == "__main__":
    main()
