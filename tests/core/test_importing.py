"""The frame of imports, with a small kind of its own: rows that name crews."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import pytest
import time_machine
from django.db import OperationalError

from jobs.core import actors, importing, tasks, waking
from jobs.core.models import Crew, ImportRun, Trace
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.sheets import Applied, CheckedRow, Column, Objection, Preview, Question, RowError
from tests.make import PNG

pytestmark = pytest.mark.django_db


class Crews:
    name, words, right = "crews", "Crews", "core.add_jobs"
    columns = (Column("crew", "Crew", required=True, wanted="a name"), Column("pay", "Pay", right="core.set_plan"))
    questions: tuple[Question, ...] = ()

    def __init__(self) -> None:
        self.breaks_at = ""
        self.by: actors.Actor | None = None

    def check_all(self, rows):
        return [Objection(row.number, "crew", "A crew is not named Bad.") for row in rows if row.values.get("crew") == "Bad"]

    def preview(self, rows):
        return Preview(len(rows), 0, 0)

    def hold(self, rows):
        return None

    def apply_row(self, row: CheckedRow, by: Any) -> Applied:
        self.by = by
        name = row.values["crew"]
        if name == self.breaks_at:
            raise KeyboardInterrupt  # as good as a kill: nothing catches it
        _, made = Crew.objects.get_or_create(name=name)
        if name == "Late":
            raise Refused("Somebody took this name meanwhile.", field="crew")
        if name == "Twice":
            Crew.objects.create(name=name)
        return "new" if made else "unchanged"


@pytest.fixture
def kind(monkeypatch):
    kind = Crews()
    monkeypatch.setitem(importing._kinds, "crews", kind)
    return kind


def file_of(*names: str, heading: str = "Crew") -> bytes:
    return "\n".join([heading, *names]).encode()


def many(n: int) -> bytes:
    return file_of(*(f"Crew {i}" for i in range(n)))


def prepare(data: bytes, *, by, name="crews.csv", columns=None) -> ImportRun:
    return importing.prepare("crews", name=name, data=data, columns=columns or {}, by=by)


def test_a_file_is_kept_and_looked_at_and_nothing_of_it_is_written(kind, dana):
    run = prepare(file_of("North", "Bad"), by=dana)

    looked = importing.look(run, by=dana)

    assert [row.values["crew"] for row in looked.good] == ["North"]
    assert [str(error) for error in looked.errors] == ["Row 3, Crew: A crew is not named Bad."]
    assert (run.rows_total, run.rows_done, run.by_name) == (2, 0, "Dana Ruiz")
    assert not Crew.objects.exists()


def test_a_picture_named_as_a_workbook_is_refused_and_leaves_nothing(kind, dana):
    with pytest.raises(Refused, match=r"crews\.xlsx is not an Excel workbook"):
        prepare(PNG, by=dana, name="crews.xlsx")

    assert not ImportRun.objects.exists()


def test_applying_all_is_refused_while_one_row_is_wrong(kind, dana):
    run = prepare(file_of("North", "Bad"), by=dana)

    with pytest.raises(Refused, match="One row of 2 need correcting"):
        importing.apply(run, by=dana)

    assert not Crew.objects.exists()


def test_the_good_rows_are_applied_and_the_wrong_one_is_listed(kind, dana):
    run = importing.apply(prepare(file_of("North", "Bad", "South"), by=dana), good_rows_only=True, by=dana)

    assert set(Crew.objects.values_list("name", flat=True)) == {"North", "South"}
    assert run.counts["new"] == 2
    assert importing.refused(run) == [RowError(3, "Crew", "Bad", "A crew is not named Bad.")]
    assert run.counts["left_out"] == 1
    assert run.finished_at is not None


def test_a_row_refused_only_when_it_is_applied_is_undone_alone_and_listed(kind, dana):
    run = importing.apply(prepare(file_of("North", "Late", "Twice", "South"), by=dana), by=dana)

    assert set(Crew.objects.values_list("name", flat=True)) == {"North", "South"}
    late, twice = importing.refused(run)
    assert (late.row, late.column, late.value, late.wanted) == (3, "Crew", "Late", "Somebody took this name meanwhile.")
    assert (twice.row, twice.column) == (4, "")
    assert "The records changed while this row was applied" in twice.wanted


def test_rows_are_applied_as_an_import_and_the_act_keeps_its_person(kind, dana):
    importing.apply(prepare(file_of("North"), by=dana), by=dana)

    assert kind.by.quiet
    assert kind.by.user == dana.user
    assert set(Trace.objects.values_list("source", "actor")) == {("page", "Dana Ruiz")}


def test_killed_after_a_chunk_it_goes_on_where_it_was_left(kind, dana):
    run = prepare(many(120), by=dana)
    kind.breaks_at = "Crew 77"

    with pytest.raises(KeyboardInterrupt):
        importing.apply(run, by=dana)

    run.refresh_from_db()
    assert (run.rows_done, run.finished_at) == (importing.CHUNK, None)
    assert Crew.objects.count() == importing.CHUNK
    assert run.counts["new"] == importing.CHUNK

    kind.breaks_at = ""
    run = importing.apply(run, by=dana)

    assert (run.rows_done, run.counts["new"], run.counts["unchanged"]) == (120, 120, 0)
    assert Crew.objects.count() == 120


def test_the_same_file_twice_changes_nothing(kind, dana):
    importing.apply(prepare(many(60), by=dana), by=dana)

    again = importing.apply(prepare(many(60), by=dana), by=dana)

    assert (again.counts["new"], again.counts["unchanged"]) == (0, 60)


def test_a_finished_import_applied_again_stays_as_it_is(kind, dana):
    run = importing.apply(prepare(many(3), by=dana), by=dana)

    assert importing.apply(run, by=dana).counts == run.counts
    with pytest.raises(Refused, match="has been applied already"):
        importing.apply_chunk(run, by=dana)


def test_a_chunk_that_the_database_ended_is_tried_again(kind, dana, monkeypatch):
    run = prepare(many(3), by=dana)
    tries = []

    def hold(rows):
        tries.append(len(rows))
        if len(tries) == 1:
            raise OperationalError("deadlock detected")

    monkeypatch.setattr(kind, "hold", hold, raising=False)

    run = importing.apply(run, by=dana)

    assert tries == [3, 3]
    assert run.counts["new"] == 3


def test_what_is_dropped_is_not_applied(kind, dana):
    run = importing.drop(prepare(many(3), by=dana), by=dana)

    with pytest.raises(Refused, match="was dropped"):
        importing.apply(run, by=dana)
    with pytest.raises(Refused, match="dropped already"):
        importing.drop(run, by=dana)
    assert not Crew.objects.exists()


def test_what_is_dropped_half_way_keeps_what_was_applied_and_goes_no_further(kind, dana):
    run = prepare(many(120), by=dana)
    with pytest.raises(Refused, match="was stopped"):
        importing.apply(run, by=dana, after_chunk=lambda at: importing.drop(at, by=dana))

    run.refresh_from_db()
    assert (run.rows_done, Crew.objects.count()) == (importing.CHUNK, importing.CHUNK)


def test_an_applied_import_cannot_be_dropped(kind, dana):
    run = importing.apply(prepare(many(1), by=dana), by=dana)

    with pytest.raises(Refused, match="has been applied already"):
        importing.drop(run, by=dana)


def test_each_kind_names_its_right(kind, dana, farida, monkeypatch):
    assert "crews" in [one.name for one in importing.kinds_for(dana)]
    assert "crews" not in [one.name for one in importing.kinds_for(farida)]
    with pytest.raises(NotAllowed):
        prepare(many(1), by=farida)

    run = prepare(many(1), by=dana)
    for act in (importing.apply_chunk, importing.drop):
        with pytest.raises(NotAllowed):
            act(run, by=farida)
    monkeypatch.setattr(kind, "right", "core.bill", raising=False)
    assert "crews" in [one.name for one in importing.kinds_for(farida)]
    with pytest.raises(NotAllowed):
        importing.apply(run, by=dana)
    assert not Crew.objects.exists()


def test_columns_beyond_a_persons_rights_are_refused_by_name(kind, dana, theo):
    data = b"Crew,Pay\nNorth,12\n"
    assert not importing.look(prepare(data, by=dana), by=dana).problems
    run = prepare(data, by=theo)

    looked = importing.look(run, by=theo)

    assert "“Pay” sets amounts of money, which your role may not do" in looked.problems[0]
    assert looked.rows == ()
    with pytest.raises(Refused, match="“Pay” sets amounts"):
        importing.apply(run, by=theo)
    run = importing.match_columns(run, columns={"crew": "Crew", "pay": ""}, by=theo)
    assert importing.apply(run, by=theo).counts["new"] == 1


def test_a_person_without_sight_of_money_sees_their_own_imports_only(kind, dana, theo, farida):
    own, other = prepare(many(1), by=theo), prepare(many(2), by=dana)

    assert set(ImportRun.objects.seen_by(theo.user)) == {own}
    assert set(ImportRun.objects.seen_by(dana.user)) == {own, other}


def test_headings_are_matched_by_hand_until_it_is_begun(kind, dana):
    run = prepare(file_of("North", heading="Team"), by=dana)
    assert "No column for Crew was found" in importing.look(run, by=dana).problems[0]

    run = importing.match_columns(run, columns={"crew": "Team"}, by=dana)

    assert importing.apply(run, by=dana).counts["new"] == 1
    with pytest.raises(Refused, match="has been begun"):
        importing.match_columns(run, columns={}, by=dana)


def test_a_map_that_names_no_column_is_refused(kind, dana):
    with pytest.raises(Refused, match="The map names colour; crew, pay are the columns"):
        prepare(many(1), by=dana, columns={"colour": "Crew"})


def test_a_question_about_the_file_is_asked_before_its_rows(kind, dana, monkeypatch):
    question = Question("whole", "Does this list hold every crew?", {"yes": "yes", "no": "no, those of today only"})
    monkeypatch.setattr(kind, "questions", (question,), raising=False)
    run = prepare(many(1), by=dana)

    assert importing.look(run, by=dana).problems == (
        "Does this list hold every crew? An answer is wanted: “yes” or “no, those of today only”.",
    )
    run = importing.match_columns(run, columns={"whole": "no"}, by=dana)
    assert importing.look(run, by=dana).rows[0].values == {"whole": "no", "crew": "Crew 0"}


def test_the_task_goes_on_with_a_begun_import_only(kind, dana):
    waiting, begun = prepare(many(1), by=dana), prepare(many(60), by=dana)
    begun = importing.start(begun, good_rows_only=False, by=dana)

    tasks.apply_import(waiting.pk)
    tasks.apply_import(begun.pk)
    tasks.apply_import(begun.pk)

    waiting.refresh_from_db()
    begun.refresh_from_db()
    assert (waiting.started_at, waiting.rows_done) == (None, 0)
    assert (begun.rows_done, begun.counts["new"]) == (60, 60)


def test_an_import_whose_worker_was_killed_is_found_by_the_sweep(kind, dana, monkeypatch, django_capture_on_commit_callbacks):
    run = importing.start(prepare(many(60), by=dana), good_rows_only=False, by=dana)
    importing.apply_chunk(run, by=dana)
    woken: list[tuple[object, ...]] = []
    monkeypatch.setattr(waking, "_send", lambda *told: woken.append(told))
    assert tasks.sweep_imports() == 0

    with time_machine.travel(dt.datetime(2026, 11, 18, 18, 5, tzinfo=dt.UTC)), django_capture_on_commit_callbacks(execute=True):
        assert tasks.sweep_imports() == 1

    assert woken == [("jobs.core.tasks.apply_import", (run.pk,))]


def test_a_broker_that_is_away_fails_no_page(kind, dana, monkeypatch, django_capture_on_commit_callbacks):
    run = importing.start(prepare(many(1), by=dana), good_rows_only=False, by=dana)

    def away(*_: object) -> None:
        raise ConnectionError("no broker")

    monkeypatch.setattr(waking, "_send", away)
    # Django writes to its log what the robust callback raised; the page goes on.
    with django_capture_on_commit_callbacks(execute=True):
        tasks.wake_import(run.pk)

    assert ImportRun.objects.get(pk=run.pk).finished_at is None


def test_the_rows_to_mend_are_those_refused_when_applied_too(kind, dana):
    run = importing.apply(prepare(file_of("North", "Late", "Bad"), by=dana), good_rows_only=True, by=dana)

    rows = importing.rows_to_mend(run, importing.look(run, by=dana))

    assert [(row.number, row.errors[0].wanted) for row in rows] == [
        (3, "Somebody took this name meanwhile."),
        (4, "A crew is not named Bad."),
    ]


def test_a_begun_import_of_the_same_file_is_found_again(kind, dana, theo):
    data = many(60)
    run = importing.start(prepare(data, by=dana), good_rows_only=False, by=dana)

    assert importing.left_half_done("crews", data=data, columns={}, by=dana) == run
    assert importing.left_half_done("crews", data=data, columns={}, by=theo) is None
    assert importing.left_half_done("crews", data=many(61), columns={}, by=dana) is None
    importing.apply(run, by=dana)
    assert importing.left_half_done("crews", data=data, columns={}, by=dana) is None


def test_a_question_and_a_column_of_one_name_are_a_mistake_of_ours(kind):
    kind.questions = (Question("crew", "?", {}),)
    with pytest.raises(AssertionError):
        importing.register(kind)


def test_an_importer_is_the_same_person_by_import(dana):
    assert importing.importer(dana) == dataclasses.replace(dana, source="import")
