"""Sheets of waiting homes for a desk: prepared, checked again, released, answered."""

from __future__ import annotations

import datetime as dt
import subprocess

import pytest
import time_machine

from jobs.core import importing
from jobs.core.csvout import write_xlsx
from jobs.core.facts import Said
from jobs.core.models import Hold
from jobs.core.models.holds import HoldKind, Stops
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.sheets.read import read
from tests.make import SYSTEM, serial_of
from tests.pages.queries import signed_in
from tests.utilities.made import job_of, make_request, make_service, make_utility
from utilities import deskanswers, deskday, requests, sheetpaper, sheets, visits
from utilities.deskanswers import Line, LinesRefused
from utilities.models import Contact, DeskSheet, FitRequest, Outcome, Utility

pytestmark = pytest.mark.django_db

D = dt.date
OCTOBER = D(2026, 10, 1)
TODAY = D(2026, 11, 18)


def waiting(utility: Utility, *, on: dt.date = OCTOBER) -> FitRequest:
    return make_request(make_service(utility=utility), on=on)


def codes(sheet: DeskSheet) -> list[str]:
    return [row["code"] for row in sheets.rows_of(sheet)]


def fit(request: FitRequest) -> None:
    visits.confirm_fitting(request, by_on=D(2026, 11, 17), said_by=Said("gateway"), serial=serial_of(job_of(request)), by=SYSTEM)


def test_all_homes_of_a_desk_stand_on_it_the_longest_wait_first_and_no_others(theo):
    utility = make_utility()
    late, early = waiting(utility, on=D(2026, 11, 2)), waiting(utility, on=D(2026, 9, 1))
    waiting(make_utility())
    held = waiting(utility)
    Hold.objects.create(
        job=job_of(held), kind=HoldKind.DISPUTE, stops=[Stops.UTILITY], from_on=OCTOBER, review_on=D(2026, 12, 1), reason="counsel"
    )

    sheet = sheets.prepare_sheet(utility, by=theo)

    assert codes(sheet) == [early.code, late.code]
    with pytest.raises(Refused, match=r"prepared a sheet for .* already"):
        sheets.prepare_sheet(utility, by=theo)
    assert not Contact.objects.exists()


def test_a_home_fitted_an_hour_ago_keeps_the_sheet_back_until_its_line_is_left_off(dana, theo):
    utility = make_utility()
    stays, fitted = waiting(utility), waiting(utility)
    sheet = sheets.prepare_sheet(utility, by=theo)
    fit(fitted)

    with pytest.raises(LinesRefused, match="One line cannot be recorded") as refused:
        sheets.release_sheet(sheet, on=TODAY, by=dana)
    assert refused.value.wrong[fitted.code][1] == f"Request {fitted.code} is on record as fitted on 17 November 2026."

    sheets.release_sheet(sheet, on=TODAY, person="Lena Abbott", good_ones=True, by=dana)

    sheet.refresh_from_db()
    assert codes(sheet) == [stays.code]
    assert [(contact.request_id, contact.ours, contact.answered) for contact in Contact.objects.all()] == [(stays.pk, True, "")]
    assert deskday.last_asked([utility.pk]) == {utility.pk: TODAY}


def test_the_clerk_prepares_and_the_manager_releases_what_then_stays_as_it_was_given(dana, theo):
    request = waiting(make_utility())
    sheet = sheets.prepare_sheet(request.utility, by=theo)
    with pytest.raises(NotAllowed):
        sheets.release_sheet(sheet, on=TODAY, by=theo)
    sheets.release_sheet(sheet, on=TODAY, by=dana)
    sheet.refresh_from_db()
    given = sheets.rows_of(sheet)

    requests.record_answer(request, on=TODAY, answered="planned", promised_by=D(2026, 12, 1), reference="WO-7", by=theo)

    assert sheets.rows_of(sheet) == given
    for again in (lambda: sheets.release_sheet(sheet, on=TODAY, by=dana), lambda: sheets.discard_sheet(sheet, by=theo)):
        with pytest.raises(Refused, match="was released on 18 November 2026 by Dana Ruiz"):
            again()


def test_a_desk_asked_yesterday_gets_no_sheet_today(dana, theo):
    request = waiting(make_utility())
    requests.record_contact(request, on=D(2026, 11, 17), answered="nothing new", by=theo)
    sheet = sheets.prepare_sheet(request.utility, by=theo)

    with pytest.raises(Refused, match=r"was asked on 17 November 2026; .* Release the sheet from 20 November 2026"):
        sheets.release_sheet(sheet, on=TODAY, by=dana)


def test_answers_to_the_sheet_of_last_month_are_told_where_they_belong(dana, theo):
    request = waiting(make_utility())
    line = [Line(request.code, "nothing new")]
    with time_machine.travel(dt.datetime(2026, 10, 20, 18, tzinfo=dt.UTC)):
        old = sheets.prepare_sheet(request.utility, by=theo)
        sheets.release_sheet(old, on=D(2026, 10, 20), by=dana)
    new = sheets.prepare_sheet(request.utility, by=theo)
    with pytest.raises(Refused, match="was not given to"):
        deskanswers.record_lines(request.utility, lines=line, on=TODAY, sheet=new, by=theo)
    sheets.release_sheet(new, on=TODAY, by=dana)
    old.refresh_from_db()
    new.refresh_from_db()

    with pytest.raises(Refused, match=r"the sheet of 20 October 2026; .* has one of 18 November 2026 since"):
        deskanswers.record_lines(request.utility, lines=line, on=TODAY, sheet=old, by=theo)
    with pytest.raises(Refused, match="an answer to it comes later"):
        deskanswers.record_lines(request.utility, lines=line, on=D(2026, 11, 17), sheet=new, by=theo)

    assert deskanswers.record_lines(request.utility, lines=line, on=TODAY, sheet=new, by=theo) == 1
    assert Contact.objects.get(answered="nothing new").ours is False, "giving the sheet was the asking"


def test_the_workbook_comes_back_as_answers(client, dana, theo):
    utility = make_utility()
    planned, fitted, silent = (waiting(utility) for _ in range(3))
    sheet = sheets.prepare_sheet(utility, by=theo)
    sheets.release_sheet(sheet, on=TODAY, by=dana)
    signed_in(client, theo)
    data = b"".join(client.get(f"/utilities/sheets/{sheet.uid}/sheet.xlsx"))
    told = read("sheet.xlsx", data)
    said = {planned.code: ("scheduled", D(2026, 12, 2)), fitted.code: ("fitted", D(2026, 11, 17))}
    filled = []
    for row in told.rows:
        cells = dict(zip(told.headings, row.cells, strict=False))
        if (answer := said.get(str(cells["Request"]))) is not None:
            cells |= {"Said on": TODAY, "Answer": answer[0], "Day of it": answer[1]}
        filled.append([cells.get(heading) for heading in told.headings])

    mended = write_xlsx(told.headings, filled)
    run = importing.prepare("answers", name="sheet.xlsx", data=mended, columns={}, by=theo)
    run = importing.apply(run, good_rows_only=True, by=theo)  # a line that the desk left empty is no answer

    assert (run.counts["new"], run.counts["left_out"]) == (2, 1)
    assert {one.code: one.outcome for one in FitRequest.objects.all()} == {
        planned.code: Outcome.OPEN, fitted.code: Outcome.FITTED, silent.code: Outcome.OPEN,
    }  # fmt: skip


def test_neither_screen_nor_paper_nor_workbook_names_anybody_of_the_home(client, theo, tmp_path):
    request = waiting(make_utility())
    site = job_of(request).site
    site.access_note = "side gate, dog in the yard " * 4
    site.save()
    sheet = sheets.prepare_sheet(request.utility, by=theo)
    signed_in(client, theo)
    page = client.get(f"/utilities/sheets/{sheet.uid}/").content.decode()
    (tmp_path / "sheet.pdf").write_bytes(b"".join(client.get(f"/utilities/sheets/{sheet.uid}/sheet.pdf")))
    paper = subprocess.run(["pdftotext", "-layout", str(tmp_path / "sheet.pdf"), "-"], capture_output=True, check=True).stdout.decode()
    book = read("sheet.xlsx", b"".join(client.get(f"/utilities/sheets/{sheet.uid}/sheet.xlsx")))
    cells = " ".join([*book.headings, *(str(cell) for row in book.rows for cell in row.cells)])

    for told in (page, paper, cells):
        assert request.code in told
        assert request.service is not None
        assert request.service.meter_number in told
        assert not {name for name in ("Guadalupe", "Hernández", "555-0142", "+13035550142", "@homes.example") if name in told}
    assert "Not released" in paper


def test_a_page_holds_twenty_one_lines():
    line = sheetpaper.Line("K7Q2MP", "WO-1", "55 806 527", "14 Old Sawmill Road, Ottermere", "1 Oct 2026", "", "side gate")

    def pages(count: int) -> int:
        paper = sheetpaper.Plain("Larch", "", "", "Ottermere Light", "18 November 2026", [line] * count, released=True)
        return sheetpaper.sheet_paper(paper).count(b"/Type /Page\n")

    assert [pages(count) for count in (1, 21, 22, 43)] == [1, 1, 2, 3]
