"""What `manage.py export` can write: the jobs, and what each app gives out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from jobs.core.exports import Export
from jobs.pages import gather, homesheet
from jobs.pages.jobfilter import JobFilter, narrowed
from jobs.pages.joblist import headings, table


def _jobs(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    narrowing = narrowed(None, given)
    narrowing.refuse_unread()
    return table(narrowing.rows, user=None)


def _homes(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    narrowing = narrowed(None, given)
    narrowing.refuse_unread()
    return homesheet.table(narrowing.rows, user=None)


_FILTERS = (*JobFilter.base_filters, "sort")

EXPORTS = (
    Export("jobs", "Jobs", headings(None), _jobs, filters=_FILTERS),
    Export("homes", "Homes to bring in again", homesheet.headings(None), _homes, filters=_FILTERS),
)


def kinds() -> dict[str, Export]:
    return {export.name: export for module in gather.modules("exports") for export in getattr(module, "EXPORTS", ())}
