"""What `manage.py export` can write: the jobs, and what each app gives out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from jobs.core.exports import Export
from jobs.core.refusals import Refused
from jobs.pages import gather
from jobs.pages.jobfilter import JobFilter, narrowed
from jobs.pages.joblist import headings, table


def _jobs(given: Mapping[str, str]) -> Iterable[Sequence[object]]:
    narrowing, found, _ = narrowed(None, given)
    if not narrowing.is_valid():
        wrong = [f"{name}: {error}" for name, errors in narrowing.form.errors.items() for error in errors]
        raise Refused(" ".join(wrong))
    return table(found, user=None)


EXPORTS = (Export("jobs", "Jobs", headings(None), _jobs, filters=(*JobFilter.base_filters, "sort")),)


def kinds() -> dict[str, Export]:
    return {export.name: export for module in gather.modules("exports") for export in getattr(module, "EXPORTS", ())}
