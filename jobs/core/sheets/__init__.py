"""Spreadsheets to checked rows, the frame for every kind of import: read, match, check, errors file. Pure.

    sheet = sheets.read("jobs.csv", data)
    matching = sheets.match(sheet.headings, kind.columns, given)
    rows = sheets.check(sheet, matching, kind.columns, check_all=kind.check_all)

The parsers of cells stand in `jobs.core.sheets.parsers`.
"""

from jobs.core.sheets.check import (
    Applied,
    CheckAll,
    CheckedRow,
    Kind,
    Objection,
    Preview,
    Question,
    RowError,
    check,
    doubles,
    errors_file,
    errors_table,
    errors_workbook,
)
from jobs.core.sheets.columns import Column, Matching, match
from jobs.core.sheets.parsers import Parser
from jobs.core.sheets.read import REMARK_HEADING, Cell, Sheet, SheetRefused, SheetRow, cell_text, read

__all__ = [
    "REMARK_HEADING",
    "Applied",
    "Cell",
    "CheckAll",
    "CheckedRow",
    "Column",
    "Kind",
    "Matching",
    "Objection",
    "Parser",
    "Preview",
    "Question",
    "RowError",
    "Sheet",
    "SheetRefused",
    "SheetRow",
    "cell_text",
    "check",
    "doubles",
    "errors_file",
    "errors_table",
    "errors_workbook",
    "match",
    "read",
]
