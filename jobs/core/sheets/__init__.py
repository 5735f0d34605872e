"""Spreadsheets to checked rows, the frame for every kind of import: read, match, check, errors file. Pure.

    sheet = sheets.read("jobs.csv", data)
    matching = sheets.match(sheet.headings, kind.columns, given)
    rows = sheets.check(sheet, matching, kind.columns, check_all=kind.check_all)

The parsers of cells stand in `jobs.core.sheets.parsers`.
"""

from jobs.core.sheets.cells import REMARK_HEADING, Cell, Figure, Place, Sheet, SheetRefused, SheetRow, cell_text
from jobs.core.sheets.check import (
    Applied,
    CheckAll,
    CheckedRow,
    Kind,
    Objection,
    Preview,
    Question,
    RowError,
    Together,
    check,
    doubles,
    errors_file,
    errors_table,
    errors_workbook,
)
from jobs.core.sheets.choices import Choices, ChoicesRefused, choices
from jobs.core.sheets.columns import Column, Matching, match
from jobs.core.sheets.parsers import Parser
from jobs.core.sheets.read import MOST_BYTES, read, refuse_too_large

__all__ = [
    "MOST_BYTES",
    "REMARK_HEADING",
    "Applied",
    "Cell",
    "CheckAll",
    "CheckedRow",
    "Choices",
    "ChoicesRefused",
    "Column",
    "Figure",
    "Kind",
    "Matching",
    "Objection",
    "Parser",
    "Place",
    "Preview",
    "Question",
    "RowError",
    "Sheet",
    "SheetRefused",
    "SheetRow",
    "Together",
    "cell_text",
    "check",
    "choices",
    "doubles",
    "errors_file",
    "errors_table",
    "errors_workbook",
    "match",
    "read",
    "refuse_too_large",
]
