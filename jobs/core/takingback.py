"""An applied import taken back whole: what it made is removed and what it changed is as before, while nothing was built on it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final

from django.apps import apps
from django.db import models
from django.db.models import Q

from jobs.core import journal
from jobs.core.journal import Key
from jobs.core.models import ImportRun, Trace
from jobs.core.refusals import Refused

# Records that a rule makes by itself each night and that go with what they are about; all others were made by somebody.
_BY_THEMSELVES: Final[dict[str, dict[str, object]]] = {}
# What an app has to do once records of a kind were removed or put back, for no act of its own has run.
_AFTERWARDS: Final[dict[str, Callable[[], object]]] = {}
_AT_ONCE: Final = 500
_MOST_NAMED: Final = 3


def goes_along(label: str, **only: object) -> None:
    """Told by an app: these records are worked out anew each night, and are removed with what they are about."""
    _BY_THEMSELVES[label] = only


def afterwards(label: str, owed: Callable[[], object]) -> None:
    """Told by an app: once records of this kind were removed or put back, this is owed."""
    _AFTERWARDS[label] = owed


def undo(run: ImportRun) -> int:
    """Take back what the import wrote; the number of records. Called inside its act. Raises Refused where something was built on it."""
    chunks = list(run.chunks.all())
    beyond = sorted({table for chunk in chunks for table in chunk.beyond})
    if beyond:
        raise Refused(
            f"This import changed records of which it does not know what they were before ({', '.join(beyond)}), "
            "so it cannot be taken back whole: correct what is wrong on the records' own pages."
        )
    made: dict[Key, str] = {}
    now: dict[Key, str] = {}
    for chunk in chunks:
        for entry in chunk.written:
            key = (entry["model"], entry["pk"])
            now[key] = entry["digest"]
            if "was" not in entry:
                made[key] = entry["digest"]
    known = _records(now)
    changed_back = dict(_changed_back(chunks, made, known))
    faults = [*_gone_or_changed(made, now, known), *_built_on(made), *_used_since(run, [*made, *changed_back])]
    if faults:
        more = f"; and {len(faults) - _MOST_NAMED:,} more" if len(faults) > _MOST_NAMED else ""
        told = "; ".join(dict.fromkeys(faults[:_MOST_NAMED]))
        raise Refused(
            f"Something was built on this import, so it cannot be taken back: {told}{more}. Correct it on the records' own pages."
        )
    _remove(made)
    for (label, pk), columns in changed_back.items():
        _put_back(label, pk, columns)
    run.chunks.all().delete()
    for label in {label for label, _ in (*made, *changed_back)} & set(_AFTERWARDS):
        _AFTERWARDS[label]()
    return len(made) + len(changed_back)


def _records(keys: dict[Key, str]) -> dict[Key, journal.Row]:
    by_model = defaultdict(list)
    for label, pk in keys:
        by_model[label].append(pk)
    return {(label, pk): row for label, pks in by_model.items() for pk, row in journal.rows(label, pks).items()}


def _gone_or_changed(made: dict[Key, str], now: dict[Key, str], known: dict[Key, journal.Row]) -> Iterator[str]:
    for key in made:
        label, pk = key
        if key not in known:
            yield f"{_named(label, pk)} was removed since"
        elif journal.digest(label, known[key]) != now[key]:
            yield f"{_named(label, pk)} was changed since"


def _changed_back(chunks: list[Any], made: dict[Key, str], known: dict[Key, journal.Row]) -> Iterator[tuple[Key, journal.Row]]:
    """Of each record that stood before, the columns to put back; from the newest chunk back to the oldest."""
    back: dict[Key, journal.Row] = {}
    for chunk in reversed(chunks):
        for entry in chunk.written:
            key = (entry["model"], entry["pk"])
            if "was" not in entry or key in made:
                continue
            row = known.get(key)
            if row is None:
                raise Refused(f"{_named(*key)} was removed since, so this import cannot be taken back whole.")
            lasting = {name for name in entry["was"] if name not in journal.derived_columns(key[0])}
            if any(row[name] != entry["became"][name] for name in lasting):
                raise Refused(f"{_named(*key)} was changed since, so this import cannot be taken back: correct it on its own page.")
            row.update(entry["was"])
            back.setdefault(key, {}).update(entry["was"])
    yield from back.items()


def _built_on(made: dict[Key, str]) -> Iterator[str]:
    """Records of others that point at what the import made."""
    for label, pks in _by_model(made).items():
        model = apps.get_model(label)
        for relation in model._meta.get_fields(include_hidden=True):
            if not (relation.auto_created and not relation.concrete and (relation.one_to_many or relation.one_to_one)):
                continue
            other = relation.related_model
            assert isinstance(other, type)
            assert issubclass(other, models.Model)
            column = relation.field.name
            ours = {pk for kind, pk in made if kind == other._meta.label}
            for start in range(0, len(pks), _AT_ONCE):
                found = other._base_manager.filter(**{f"{column}__in": pks[start : start + _AT_ONCE]})
                if (only := _BY_THEMSELVES.get(other._meta.label)) is not None:
                    found = found.exclude(**only) if only else found.none()
                for pk in found.values_list("pk", flat=True):
                    if pk not in ours:
                        yield f"{_named(other._meta.label, pk)} was recorded since"


def _used_since(run: ImportRun, keys: Iterable[Key]) -> Iterator[str]:
    """Acts of people on the homes of the import: what they recorded may rest on what would go."""
    jobs = [pk for label, pk in keys if label == "core.Job"]
    since = run.finished_at or run.dropped_at
    if since is None:
        return
    for start in range(0, len(jobs), _AT_ONCE):
        some = jobs[start : start + _AT_ONCE]
        for trace in Trace.objects.filter(Q(job__in=some) | Q(on__in=[f"core.job {pk}" for pk in some]), at__gt=since)[:_MOST_NAMED]:
            job_id = trace.job_id or int(trace.on.rpartition(" ")[2])
            yield f"{trace.actor} has worked on {_named('core.Job', job_id)} since"


def _remove(made: dict[Key, str]) -> None:
    by_model = _by_model(made)
    for label, only in _BY_THEMSELVES.items():
        model = apps.get_model(label)
        for column in model._meta.concrete_fields:
            related = column.related_model
            target = related._meta.label if isinstance(related, type) and issubclass(related, models.Model) else ""
            for start in range(0, len(by_model.get(target, [])), _AT_ONCE):
                model._base_manager.filter(**only, **{f"{column.name}__in": by_model[target][start : start + _AT_ONCE]}).delete()
    for label, pks in by_model.items():
        model = apps.get_model(label)
        for start in range(0, len(pks), _AT_ONCE):
            found = model._base_manager.filter(pk__in=pks[start : start + _AT_ONCE])
            # The records point at each other; the database looks when the transaction ends, Django's own delete at each step.
            found._raw_delete(found.db)


def _put_back(label: str, pk: int, columns: journal.Row) -> None:
    model = apps.get_model(label)
    by_name = {column.attname: column for column in model._meta.concrete_fields}
    model._base_manager.filter(pk=pk).update(**{name: by_name[name].to_python(value) for name, value in columns.items()})


def _by_model(keys: dict[Key, str]) -> dict[str, list[int]]:
    by_model: dict[str, list[int]] = defaultdict(list)
    for label, pk in keys:
        by_model[label].append(pk)
    return by_model


def _named(label: str, pk: int) -> str:
    model = apps.get_model(label)
    thing = model._base_manager.filter(pk=pk).first()
    kind = str(model._meta.verbose_name)
    return f"{kind} “{thing}”" if thing is not None else f"a {kind}"
