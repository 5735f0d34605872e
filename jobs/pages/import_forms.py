"""Forms of the import pages: which file of which kind, and which heading is which column."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms import BoundField

from jobs.core import words
from jobs.core.forms import OfficeForm
from jobs.core.importing import Looked
from jobs.core.models import ImportRun
from jobs.core.sheets import Column, Kind, cell_text, parsers

_SAMPLES = 2


class FileForm(OfficeForm):
    kind = forms.ChoiceField(label="What the rows are", widget=forms.RadioSelect)
    file = forms.FileField(label="File", help_text="CSV or XLSX, at most 20 MB: one row of headings, then one row for each record.")

    def __init__(self, *args: Any, kinds: list[Kind], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(kind.name, kind.words) for kind in kinds]
        self.fields["kind"] = forms.ChoiceField(label="What the rows are", widget=forms.RadioSelect, choices=choices)
        if len(choices) == 1:
            self.fields["kind"].initial = choices[0][0]


@dataclass(frozen=True)
class Heading:
    """One column of the file as the page shows it."""

    letter: str
    words: str
    samples: list[str]
    field: BoundField | None  # None where the column has no heading, so that nothing can be matched to it
    read_as: str


class ColumnsForm(OfficeForm):
    """One choice for each heading of the file, and one for each question about the whole."""

    def __init__(self, *args: Any, looked: Looked, run: ImportRun, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.looked = looked
        found = {place: name for name, place in looked.matching.places.items()}
        choices = [("", "not used"), *((column.name, column.label) for column in looked.kind.columns)]
        for place, heading in enumerate(looked.sheet.headings):
            if heading:
                self.fields[f"place_{place}"] = forms.ChoiceField(
                    label=f"Column for {heading}", choices=choices, required=False, initial=found.get(place, "")
                )
        for question in looked.kind.questions:
            self.fields[question.name] = forms.ChoiceField(
                label=question.words,
                widget=forms.RadioSelect,
                choices=list(question.choices.items()),
                initial=run.columns.get(question.name),
            )

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

    def columns(self) -> dict[str, str]:
        """The map for the act: every column named, those not used with a blank; and the answers."""
        columns = {column.name: "" for column in self.looked.kind.columns}
        for place, heading in enumerate(self.looked.sheet.headings):
            if column := self.cleaned_data.get(f"place_{place}"):
                columns[column] = heading
        answers = {question.name: self.cleaned_data.get(question.name) or "" for question in self.looked.kind.questions}
        return columns | answers

    def questions(self) -> list[BoundField]:
        return [self[question.name] for question in self.looked.kind.questions]

    def headings(self) -> Iterator[Heading]:
        by_name = {column.name: column for column in self.looked.kind.columns}
        found = {place: by_name[name] for name, place in self.looked.matching.places.items()}
        for place, heading in enumerate(self.looked.sheet.headings):
            cells = [row.cells[place] for row in self.looked.sheet.rows if cell_text(row.cells[place]).strip()][:_SAMPLES]
            yield Heading(
                letter=letter(place),
                words=heading,
                samples=[cell_text(cell) for cell in cells],
                field=self[f"place_{place}"] if heading else None,
                read_as=_read_as(found.get(place), cell_text(cells[0]) if cells else ""),
            )


def letter(place: int) -> str:
    """How a spreadsheet names its column: A, B, ... Z, AA."""
    name = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        name = chr(65 + rest) + name
    return name


def _read_as(column: Column | None, sample: str) -> str:
    """Days are the cells that can be misread: 6/3/26 is 3 June here and 6 March elsewhere."""
    if column is None or column.parse is not parsers.day or not sample:
        return ""
    try:
        day = words.day(parsers.day(sample))
    except ValueError:
        return ""
    return f"month/day/year: {day}" if "/" in sample else day
