"""How fast invoices are drawn in one batch, beside plain ReportLab pages with as many lines of text.

    python -m tests.bench.invoices [--invoices 500]

No database. Prints progress by tenths and the ratio of pages a second; both are measured in turn in one run, so that a busy machine
slows both alike. Run by hand.
"""

from __future__ import annotations

import argparse
import dataclasses
import io
import time

import pypdf
from reportlab.lib.pagesizes import LETTER
from reportlab.pdfgen.canvas import Canvas

from billing.pdf.invoice import Company, Evidence, Line, Plain, invoice
from jobs.core.papers import fonts

ROUNDS = 10
PAPER = Plain(
    company=Company(
        "Larch & Lantern Home Energy", "18 Weir Street, Suite 2, Ottermere, CO 80999", "(303) 555-0100", "office@larch.example"
    ),
    number="1001",
    job="KQ7M4E",
    to="Guadalupe Hernández-Whitfield",
    to_address="6 Larch Terrace, Ottermere, CO 80999",
    home="6 Larch Terrace, Ottermere, CO 80999",
    issued="May 28, 2026",
    due="June 27, 2026",
    asked="$19,160.00 is due by June 27, 2026.",
    later="It is milestone 1 of 2 of a contract of $23,950.00. $4,790.00 for the final milestone comes later and is not due now.",
    lines=(Line("May 28, 2026", "First milestone, 80 % of the contract", "“Due when commissioned grid-tied.”", "$19,160.00"),),
    total="$19,160.00",
    evidence=tuple(
        Evidence("May 28, 2026", f"A fact that proves it, number {n}", "said by: crew, Joel Amadi; photo.jpg") for n in range(5)
    ),
    notices=(("NOTICE", "You have no backup yet. In an outage your home is dark until the utility has fitted the collar."),),
    how_to_pay="By check, or by bank transfer as on your contract.\nPlease name invoice 1001 with your payment.",
)


def drawn(numbers: range) -> int:
    """Invoices with these numbers; gives their pages."""
    pages = 0
    for number in numbers:
        data = invoice(dataclasses.replace(PAPER, number=str(number), to=f"{PAPER.to} {number}"))
        pages += data.count(b"/Type /Page\n") or len(pypdf.PdfReader(io.BytesIO(data)).pages)
    return pages


def plain(numbers: range, lines: int) -> int:
    """As many single pages of plain text in the same type, a file each."""
    fonts.register()
    for number in numbers:
        canvas = Canvas(io.BytesIO(), pagesize=LETTER, invariant=1, pageCompression=1)
        canvas.setFont(fonts.SANS, 10)
        for line in range(lines):
            canvas.drawString(50, 740 - 13 * line, f"Line {line} of paper {number}: a fact that proves it, said by the crew; photo.jpg")
        canvas.showPage()
        canvas.save()
    return len(numbers)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--invoices", type=int, default=500)
    count = parser.parse_args().invoices
    lines = len(pypdf.PdfReader(io.BytesIO(invoice(PAPER))).pages[0].extract_text().splitlines())
    seconds, pages = {"invoices": 0.0, "plain": 0.0}, {"invoices": 0, "plain": 0}
    for turn in range(ROUNDS):
        numbers = range(count * turn // ROUNDS, count * (turn + 1) // ROUNDS)
        for name, draw in (("invoices", drawn), ("plain", lambda some: plain(some, lines))):
            began = time.perf_counter()
            pages[name] += draw(numbers)
            seconds[name] += time.perf_counter() - began
        print(f"{count * (turn + 1) // ROUNDS:>6} of {count} invoices drawn", flush=True)
    pace = {name: pages[name] / seconds[name] for name in seconds}
    print(f"invoices     {pace['invoices']:8.1f} pages a second ({lines} lines of text a page)")
    print(f"plain text   {pace['plain']:8.1f} pages a second")
    print(f"ratio        {pace['plain'] / pace['invoices']:8.2f} times the time of a plain page")


if __name__ == "__main__":
    main()
