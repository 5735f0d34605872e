"""The product of 1 - D/R by day on real waits with delayed entry, against lifelines, an independent library, to 1e-9."""

import csv
from pathlib import Path

import lifelines
import numpy as np
import pytest
from lifelines.datasets import load_multicenter_aids_cohort_study

from tests.utilities.waits import D0, every_day, history
from utilities.leadtimes import CANCELLED, FITTED
from utilities.leadtimes.ages import waits_seen
from utilities.leadtimes.curve import count

DATA = Path(__file__).parents[1] / "data"


def read(name):
    with (DATA / name).open(encoding="utf-8") as lines:
        return list(csv.DictReader(lines))


def agrees(days, happened, entry):
    """Waits of so many days, each watched from a day after its entry; entry 0: from the start."""
    days, happened, entry = np.maximum(days, 1), np.asarray(happened), np.asarray(entry)
    kept = days > entry
    days, happened, entry = days[kept], happened[kept], entry[kept]
    filed = D0 - 5000
    rows = [
        (0, filed, filed + late + 1 if late else None, filed + wait, FITTED if end else CANCELLED)
        for wait, end, late in zip(days.tolist(), happened.tolist(), entry.tolist(), strict=True)
    ]

    ours = count(waits_seen(history(rows), every_day(1), D0)).survival()

    theirs = lifelines.KaplanMeierFitter().fit(days, happened, timeline=np.arange(ours.size), entry=entry)
    assert ours == pytest.approx(theirs.survival_function_.iloc[:, 0].to_numpy(), abs=1e-9)
    return len(rows), int(happened.sum())


# Source: R survival::transplant. Nobody came to the list late: told as if every second were known only after up to seven weeks.
@pytest.mark.parametrize("late", [False, True])
def test_waits_for_a_liver_are_those_of_lifelines(late):
    rows = read("transplant.csv")
    place = np.arange(len(rows))

    used, fitted = agrees(
        np.array([int(row["futime"]) for row in rows]),
        [row["event"] == "ltx" for row in rows],
        np.where(place % 2, place % 50, 0) if late else np.zeros(len(rows), int),
    )

    # All rows are used, of which 636 were transplanted.
    assert (used, fitted) == (815, 636) if not late else 650 < used < 815


# Source: R MASS::Aids2: 1,761 of 2,843 died before July 1991. With a list begun on a day, those ill before are known only from it.
@pytest.mark.parametrize("begun", [0, 10_000, 10_665])
def test_lives_with_aids_in_australia_are_those_of_lifelines_also_from_a_list_begun_late(begun):
    rows = read("aids2.csv")
    diagnosed, ended = (np.array([int(row[name]) for row in rows]) for name in ("diag", "death"))

    used, died = agrees(ended - diagnosed, [row["status"] == "D" for row in rows], np.maximum(begun - 1 - diagnosed, 0))

    assert (used, died) == (2843, 1761) if not begun else 1000 < used < 2843


# Source: lifelines.datasets.load_multicenter_aids_cohort_study: 78 men, of whom many came under observation years after diagnosis.
def test_a_cohort_that_really_entered_late_is_that_of_lifelines():
    men = load_multicenter_aids_cohort_study()

    used, died = agrees(
        np.ceil(365.25 * men["T"]).astype(int).to_numpy(), men["D"] == 1, np.floor(365.25 * men["W"]).astype(int).to_numpy()
    )

    assert (used, died) == (78, 27)
