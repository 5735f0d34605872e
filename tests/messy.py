"""A workbook as a contractor's office keeps it, with every trouble in it that we know of; and what must come out, worked out by hand.

All invented. The list of homes stands on the second sheet, its headings begin in row 5 and span two rows, and below it stand the sums.
"""

from __future__ import annotations

import datetime as dt
import io

import xlsxwriter

MERGED_HEADINGS = (
    # upper, lower
    ("Our", "number"),
    ("Customer", ""),
    ("Site", "address"),
    ("", "Town"),
    ("", "State"),
    ("", "ZIP"),
    ("Utility", "name"),
    ("", "account no"),
    ("", "meter #"),
    ("Contract", "signed"),
    ("", "price"),
    ("Commissioned", "on"),
    ("Who to reach", ""),  # e-mail addresses, by their contents
    ("Notes", ""),  # no column of ours
    ("Shares", "first %"),
    ("", "final %"),
)


def workbook() -> bytes:
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    bold, day = book.add_format({"bold": True}), book.add_format({"num_format": "d-mmm-yy"})
    zip_code = book.add_format({"num_format": "00000"})

    summary = book.add_worksheet("Summary")  # stands first, and is none of it
    summary.write_column(0, 0, ["Homes 2025/26", "as of", "open"])
    summary.write_column(0, 1, ["", "11/20/2026", 7])
    homes = book.add_worksheet("Homes 2026")
    old = book.add_worksheet("old list")
    old.write_row(0, 0, ["Our number", "Customer"])
    old.write_row(1, 0, ["X-1", "not this one"])
    old.hide()
    book.add_worksheet("empty")

    homes.write(0, 0, "Larch & Lantern, list of homes", bold)
    homes.write(1, 0, "printed")
    homes.write_datetime(1, 1, dt.datetime(2026, 11, 20), day)  # noqa: DTZ001 - a sheet knows no zone
    for column, (upper, lower) in enumerate(MERGED_HEADINGS):
        homes.write(4, column, upper, bold)
        homes.write(5, column, lower, bold)
    homes.merge_range(4, 2, 4, 5, "Site", bold)

    # 1: a day as such, a price with a sign, a ZIP that is shown with its zero, an account kept as a text with its zeros.
    homes.write_row(6, 0, ["H-1", "Rosa Peña", "12 Alder Street", "Ottermere", "MA"])
    homes.write_number(6, 5, 1060, zip_code)
    homes.write_string(6, 6, "Ottermere Municipal Light")
    homes.write_string(6, 7, "00451234")
    homes.write_string(6, 8, "0088123")
    homes.write_datetime(6, 9, dt.datetime(2026, 3, 4), day)  # noqa: DTZ001
    homes.write_string(6, 10, "$8,640.00")
    homes.write_string(6, 11, "May 4, 2026")
    homes.write_string(6, 12, "rosa@home.example")
    homes.write_row(6, 14, [0.4, 0.6])
    # 2: a ZIP and an account whose zeros are lost, a day as a serial number (46115 is 3 April 2026), a price by a formula.
    homes.write_row(7, 0, ["H-2", "Łukasz Őry", "9 Elm St", "Ottermere", "Mass."])
    homes.write_number(7, 5, 2134)
    homes.write_string(7, 6, "Ottermere Muni Light")
    homes.write_number(7, 7, 451299)
    homes.write_string(7, 8, "0088124")
    homes.write_number(7, 9, 46115)
    homes.write_formula(7, 10, "=4000*2+640.5", None, 8640.5)
    homes.write_string(7, 11, "2026-05-05")
    homes.write_string(7, 12, "lukasz@home.example")
    homes.write_row(7, 14, ["40 %", "60"])
    # 3: a name that looks like a formula, a line break in a cell, a day that can be read two ways.
    homes.write_string(8, 0, "H-3")
    homes.write_string(8, 1, '=HYPERLINK("https://evil.example","Ann")')
    homes.write_string(8, 2, "+1 Birch Lane\nrear")
    homes.write_row(8, 3, ["Ottermere", "Massachusetts"])
    homes.write_string(8, 5, "02134-0001")
    homes.write_string(8, 6, "ottermere municipal light")
    homes.write_string(8, 7, "00451235")
    homes.write_string(8, 9, "03/04/26")
    homes.write_string(8, 11, "6 May 2026")
    homes.write_string(8, 12, "ann@home.example")
    # row 10 is blank
    # 4: an error in a formula; 5: the number of 1 once more; 6: an account that was shortened.
    homes.write_row(10, 0, ["H-4", "Bo Chen", "1 Fir Court", "Ottermere", "MA", "02134", "Ottermere Municipal Light"])
    homes.write_formula(10, 10, "=1/0", None, "#DIV/0!")
    homes.write_row(11, 0, ["h-1", "Rosa Peña", "12 Alder Street", "Ottermere", "MA", "01060", "Ottermere Municipal Light"])
    homes.write_row(12, 0, ["H-6", "Cy Dunn", "3 Fir Court", "Ottermere", "MA", "02134", "Ottermere Municipal Light", "4.51E+11"])
    homes.write_row(14, 0, ["Total", "", "", "", "", "", "", "", "", "", 17280.5])
    homes.write(16, 0, "* prices without tax")
    homes.activate()
    book.close()
    return out.getvalue()


# What must come out, by hand.

HEADINGS = (
    "Our number", "Customer", "Site address", "Town", "State", "ZIP", "Utility name", "account no", "meter #", "Contract signed",
    "Contract price", "Commissioned on", "Who to reach", "Notes", "first %", "final %",
)  # fmt: skip

NOTES = (
    "The sheet “Homes 2026” is read; not read: “Summary”, “empty”, “old list” (hidden).",
    "The headings span rows 5 and 6; they are read as one: “final %”.",
    "The headings were found in row 5; what stands above them is left out: “Larch & Lantern, list of homes”; “printed, 2026-11-20”.",
    "Row 15 (“Total, 17280.5”) is left out: it holds the sums of the rows above.",
    "Row 17 (“* prices without tax”) is left out: it holds one remark only, below the table.",
    "“ZIP” has lost zeros in front in row 8 (2134); they are put back.",
    "“account no” has lost zeros in front in row 8 (451299); they are taken as they stand: look them up, or send them as text.",
)

# By row of the sheet, where no error stands: a few of the values.
GOOD = {
    8: {"owner": "Łukasz Őry", "region": "MA", "postal_code": "02134", "utility": "Ottermere Municipal Light", "account_number": "451299",
        "contract_signed_on": dt.date(2026, 4, 3), "contract_amount": 864_050, "first_share": 400_000, "final_share": 600_000,
        "commissioned_on": dt.date(2026, 5, 5)},
    9: {"owner": '=HYPERLINK("https://evil.example","Ann")', "street": "+1 Birch Lane\nrear", "region": "MA", "postal_code": "02134-0001",
        "account_number": "00451235", "contract_signed_on": dt.date(2026, 3, 4), "commissioned_on": dt.date(2026, 5, 6)},
}  # fmt: skip

# By row, each thing to correct: the heading, what stands there, and what its sentence says.
WRONG = {
    7: [("Our number", "H-1", "stands also in row 12")],
    11: [("Contract price", "#DIV/0!", "formula came to no value")],
    12: [("Our number", "h-1", "stands also in row 7")],
    13: [("account no", "4.51E+11", "was shortened by a spreadsheet")],
}
