"""What `manage.py export` can write: the jobs, and what each app gives out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from jobs.core.exports import Export
from jobs.pages import gather
from jobs.pages.jobfilter import JobFilter, narrowed
from jobs.pages.joblist import headings, table


def _jobs(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    narrowing = narrowed(None, given)
    narrowing.refuse_unread()
    return table(narrowing.rows, user=None)


EXPORTS = (Export("jobs", "Jobs", headings(None), _jobs, filters=(*JobFilter.base_filters, "sort")),)


def kinds() -> dict[str, Export]:
    return {export.name: export for module in gather.modules("exports") for export in getattr(module, "EXPORTS", ())}
