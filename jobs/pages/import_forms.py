"""Forms of the import pages: which file of which kind, and which heading is which column."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import islice
from typing import Any

from django import forms
from django.forms import BoundField

from jobs.core import words
from jobs.core.forms import OfficeForm
from jobs.core.looking import Looked
from jobs.core.models import ImportRun
from jobs.core.sheets import MOST_BYTES, Cell, Column, Kind, SheetRefused, cell_text, hints, parsers, refuse_too_large
from jobs.core.sheets.days import FROM_1900, FROM_1904, ORDERS, read_day
from jobs.core.sheets.hints import DayQuestion, Unknown

_SAMPLES = 2
_MOST_NAMES = 60  # names to settle on one page; the rows of the others are to be corrected
_MOST_CHOICES = 500


class FileForm(OfficeForm):
    kind = forms.ChoiceField(label="What the rows are", widget=forms.RadioSelect)
    file = forms.FileField(
        label="File", help_text=f"CSV or XLSX, at most {MOST_BYTES // 1_000_000} MB: headings, then one row for each record."
    )

    def __init__(self, *args: Any, kinds: list[Kind], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(kind.name, kind.words) for kind in kinds]
        self.fields["kind"] = forms.ChoiceField(label="What the rows are", widget=forms.RadioSelect, choices=choices)
        if len(choices) == 1:
            self.fields["kind"].initial = choices[0][0]

    def clean_file(self) -> Any:
        """Its size before its bytes: a gigabyte must not be read into memory to be refused."""
        upload = self.cleaned_data["file"]
        try:
            refuse_too_large(upload.name, upload.size)
        except SheetRefused as refusal:
            raise forms.ValidationError(str(refusal)) from refusal
        return upload


@dataclass(frozen=True)
class Heading:
    """One column of the file as the page shows it."""

    letter: str
    words: str
    samples: list[str]
    field: BoundField | None  # None where the column has no heading, so that nothing can be matched to it
    read_as: str


@dataclass(frozen=True)
class Name:
    """A name in the file that is not on record, and the field that says what it means."""

    unknown: Unknown
    field: BoundField


class ColumnsForm(OfficeForm):
    """What a person says of a file: where its table stands, one choice for each heading, the order of its days, what its names mean.

    Where the table is said to stand elsewhere, the other choices were about headings that are no longer looked at, and are dropped.
    """

    def __init__(self, *args: Any, looked: Looked, run: ImportRun, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.looked, self.run = looked, run
        sheet = looked.sheet
        if len(sheet.others) > 1:
            options = [(name, name) for name in sheet.others]
            self.fields["sheet"] = forms.ChoiceField(label="Sheet", choices=options, initial=sheet.table, required=False)
        row, lines = sheet.headings_in
        self.fields["heading_row"] = forms.IntegerField(
            label="Headings in row", min_value=1, max_value=1_048_576, initial=row, required=False
        )
        spans = [("1", "one row"), ("2", "two rows")]
        self.fields["heading_lines"] = forms.ChoiceField(label="Headings span", choices=spans, initial=str(lines), required=False)
        found = {place: name for name, place in looked.matching.places.items()}
        found |= {proposal.place: proposal.column for proposal in looked.proposals}
        choices = [("", "not used"), *((column.name, column.label) for column in looked.kind.columns)]
        for place, heading in enumerate(sheet.headings):
            if heading:
                self.fields[f"place_{place}"] = forms.ChoiceField(
                    label=f"Column for {heading}", choices=choices, required=False, initial=found.get(place, "")
                )
        for question in looked.kind.questions:
            self.fields[question.name] = forms.ChoiceField(
                label=question.words,
                widget=forms.RadioSelect,
                choices=list(question.choices.items()),
                required=False,
                initial=run.columns.get(question.name),
            )
        for day in self._days():
            ways = [(order, f"{words.day(reading)}, {ORDERS[order]}") for order, reading in day.readings.items()]
            self.fields[f"days_{day.column}"] = forms.ChoiceField(
                label=f"{day.sample} in “{day.heading}” is",
                widget=forms.RadioSelect,
                choices=ways,
                required=False,
                initial=looked.choices.orders.get(day.column),
            )
        for place, unknown in enumerate(looked.unknown[:_MOST_NAMES]):
            others = [name for name in self._known(unknown.column) if name not in unknown.near]
            self.fields[f"name_{place}"] = forms.ChoiceField(
                label=f"What “{unknown.written}” means",
                choices=[("", "as written"), *((name, name) for name in (*unknown.near, *others))],
                required=False,
                initial=unknown.settled or next(iter(unknown.near), ""),
            )

    def _known(self, name: str) -> Sequence[str]:
        column = next(column for column in self.looked.kind.columns if column.name == name)
        return list(column.known())[:_MOST_CHOICES] if column.known else []

    def _days(self) -> list[DayQuestion]:
        """Asked, or answered and still to be changed."""
        return hints.orders(self.looked.sheet, self.looked.matching, self.looked.kind.columns, {})[1]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        taken: dict[str, str] = {}
        for name, field in self.fields.items():
            column = cleaned.get(name)
            if not name.startswith("place_") or not column:
                continue
            if column in taken:
                label = dict(field.choices)[column]  # type: ignore[attr-defined]
                self.add_error(name, f"{label} is chosen for two headings: one of them is wanted.")
            taken[column] = name
        return cleaned

    def columns(self) -> dict[str, Any]:
        """The map for the act: every column named, those not used with a blank; and all else that was said."""
        told, sheet = self.cleaned_data, self.looked.sheet
        said: dict[str, Any] = {question.name: told.get(question.name) or "" for question in self.looked.kind.questions}
        row, lines, table = (
            told.get("heading_row") or sheet.headings_in[0],
            int(told.get("heading_lines") or sheet.headings_in[1]),
            told.get("sheet", ""),
        )
        if (row, lines) != sheet.headings_in or table not in ("", sheet.table):
            stands = {"heading_row": row, "heading_lines": lines} if table in ("", sheet.table) else {}
            return said | stands | ({"sheet": table} if table else {})
        kept = {name: self.run.columns[name] for name in ("sheet", "heading_row", "heading_lines") if name in self.run.columns}
        columns = {column.name: "" for column in self.looked.kind.columns}
        for place, heading in enumerate(sheet.headings):
            if column := told.get(f"place_{place}"):
                columns[column] = heading
        days = {day.column: order for day in self._days() if (order := told.get(f"days_{day.column}"))}
        values = {name: dict(meant) for name, meant in self.looked.choices.values.items() if meant}
        for place, unknown in enumerate(self.looked.unknown[:_MOST_NAMES]):
            if meant := told.get(f"name_{place}"):
                values.setdefault(unknown.column, {})[unknown.written] = meant
            else:
                values.get(unknown.column, {}).pop(unknown.written, None)
        return columns | said | kept | ({"days": days} if days else {}) | ({"values": values} if any(values.values()) else {})

    def place(self) -> list[BoundField]:
        return [self[name] for name in ("sheet", "heading_row", "heading_lines") if name in self.fields]

    def questions(self) -> list[BoundField]:
        return [self[question.name] for question in self.looked.kind.questions] + [self[f"days_{day.column}"] for day in self._days()]

    def names(self) -> list[Name]:
        return [Name(unknown, self[f"name_{place}"]) for place, unknown in enumerate(self.looked.unknown[:_MOST_NAMES])]

    def headings(self) -> Iterator[Heading]:
        looked = self.looked
        by_name = {column.name: column for column in looked.kind.columns}
        found = {place: by_name[name] for name, place in looked.matching.places.items()}
        proposed = {proposal.place: proposal for proposal in looked.proposals}
        for place, heading in enumerate(looked.sheet.headings):
            filled = (row.cells[place] for row in looked.sheet.rows)
            cells = list(islice((cell for cell in filled if cell_text(cell).strip()), _SAMPLES))
            column = found.get(place)
            remark = self._read_as(column, cells[0] if cells else "")
            if proposal := proposed.get(place):
                remark = f"proposed, not taken yet: {proposal.why}"
            elif column is not None and column.name in looked.remembered:
                remark = f"as chosen last time{'; ' if remark else ''}{remark}"
            yield Heading(
                letter=letter(place),
                words=heading,
                samples=[cell_text(cell) for cell in cells],
                field=self[f"place_{place}"] if heading else None,
                read_as=remark,
            )

    def _read_as(self, column: Column | None, sample: Cell) -> str:
        """Days are the cells that can be misread: 6/3/26 is 3 June here and 6 March elsewhere."""
        if column is None or column.parse is not parsers.day or not sample:
            return ""
        order = self.looked.orders.get(column.name)
        if order is None and any(day.column == column.name for day in self.looked.days):
            return "asked above"
        from_1904 = self.looked.sheet.from_1904
        try:
            day = words.day(read_day(sample, order=order or "month", serials_from=FROM_1904 if from_1904 else FROM_1900))
        except ValueError:
            return ""
        written = cell_text(sample)
        if written.strip().replace(".", "").isdigit():
            return f"days counted from {'1904' if from_1904 else '1900'}: {day}"
        return f"{ORDERS[order]}: {day}" if order and not isinstance(sample, date) else day


def letter(place: int) -> str:
    """How a spreadsheet names its column: A, B, ... Z, AA."""
    name = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        name = chr(65 + rest) + name
    return name
