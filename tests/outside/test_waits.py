"""Waits against published data and an independent library. The row of the trade's table of check values is named at each."""

import lifelines
import numpy as np
import pytest
from lifelines.datasets import load_leukemia

from tests.utilities.waits import D0, asking, every_day, history
from utilities.leadtimes import CANCELLED, FITTED, OPEN, chance_by
from utilities.leadtimes.ages import waits_seen
from utilities.leadtimes.classes import rates
from utilities.leadtimes.curve import count
from utilities.leadtimes.kaplan_meier import Fitted, Summed, fit, forecast


def six_mp():
    """The 21 patients given 6-MP, a week written as a day; who left the study in remission counts as cancelled.

    Source: Freireich et al. (1963), Blood 21, 699-716, as in lifelines.datasets.load_leukemia.
    """
    patients = load_leukemia().query("Rx == 0")
    filed = D0 - 100
    return history(
        [(0, filed, None, filed + week, FITTED if end else CANCELLED) for week, end in zip(patients.t, patients.status, strict=True)]
    )


# S1.
def test_six_mp_remissions_by_kaplan_meier():
    counts = count(waits_seen(six_mp(), every_day(1), D0))

    assert len(six_mp()) == 21
    assert counts.survival()[[6, 10, 23]] == pytest.approx([0.8571, 0.7529, 0.4482], abs=5e-5)


# S2.
def test_six_mp_median_is_23_weeks():
    fitted = fit(six_mp(), every_day(1), D0)

    assert forecast(fitted, asking(D0)).q_at(50) == [D0 + 23]


# S3.
def test_six_mp_constant_hazard_is_9_in_359_weeks():
    counts = count(waits_seen(six_mp(), every_day(1), D0))

    assert (counts.fittings, counts.days_watched) == (9, 359)
    assert counts.fittings / counts.days_watched == pytest.approx(0.02507, abs=5e-6)


# S4. Source: 1 - exp(-28/63) = 0.3588; an exponential wait has no memory.
@pytest.mark.parametrize("waited", [0, 1, 28, 400, 5000])
def test_an_exponential_wait_of_mean_63_days_ends_within_28_days_with_the_same_chance_however_long_it_lasted(waited):
    constant = Summed(total=np.zeros(1), tail=1 / 63)
    fitted = Fitted(D0, every_day(1), curves=(constant,), curve=np.zeros(1, int), own_fittings=np.zeros(1, int), pool_fittings=0, dropped=0)

    said = forecast(fitted, asking(D0 - waited))

    assert -np.expm1(constant.at(np.array(waited)) - constant.at(np.array(waited + 28))) == pytest.approx(0.3588, abs=5e-5)
    assert said.q_at(35) == [D0 + 28]  # 1 - exp(-27/63) = 0.3485, 1 - exp(-28/63) = 0.3588, 1 - exp(-29/63) = 0.3689
    assert said.q_at(36) == [D0 + 29]
    assert chance_by(said, D0 + 28) == pytest.approx([0.3588], abs=0.01)
    assert said.p_never == pytest.approx([np.exp(-1095 / 63)], rel=1e-9)


# S4, learned from waits: 20,000 of mean 63 days, seed 63. Standard error of each chance below 0.006.
@pytest.mark.parametrize("waited", [0, 30, 90])
def test_exponential_waits_are_found_to_have_no_memory(waited):
    days = np.ceil(np.random.default_rng(63).exponential(63, 20_000)).astype(int)
    past = history([(0, D0 - 2000, None, D0 - 2000 + wait, FITTED) for wait in days])

    said = forecast(fit(past, every_day(1), D0), asking(D0 - waited))

    assert chance_by(said, D0 + 28) == pytest.approx([0.3588], abs=0.03)


# Source: lifelines.KaplanMeierFitter.fit(..., entry=), an independent library.
@pytest.mark.parametrize("seed", range(8))
def test_kaplan_meier_with_late_entry_agrees_with_lifelines(seed):
    chance = np.random.default_rng(seed)
    n = 400
    filed = D0 - chance.integers(1, 300, n)
    wait = np.ceil(chance.weibull(1.4, n) * 80).astype(int)
    given_up = chance.integers(1, 400, n)
    ended = np.where(wait <= given_up, FITTED, CANCELLED)
    by = filed + np.minimum(wait, given_up)
    known_from = np.where(chance.random(n) < 0.5, filed + chance.integers(1, 60, n), filed)
    rows = [
        (0, filed[i], known_from[i], by[i] if by[i] <= D0 else None, ended[i] if by[i] <= D0 else OPEN)
        for i in range(n)
        if known_from[i] <= min(by[i], D0)
    ]

    ours = count(waits_seen(history(rows), every_day(1), D0)).survival()

    entry = [max(known - 1 - sent, 0) for _, sent, known, _, _ in rows]
    age = [(D0 if end is None else end) - sent for _, sent, _, end, _ in rows]
    done = [outcome == FITTED for *_, outcome in rows]
    # A row that is open at age 0 or entered on its last evening was never watched; lifelines wants only those that were.
    watched = np.array(age) > np.array(entry)
    theirs = lifelines.KaplanMeierFitter().fit(
        np.array(age)[watched], np.array(done)[watched], timeline=np.arange(ours.size), entry=np.array(entry)[watched]
    )
    assert len(rows) > 250
    assert ours == pytest.approx(theirs.survival_function_.iloc[:, 0].to_numpy(), abs=1e-9)


# Source: 1 - (1 - 1/4) = 1/4: a hazard is the share fitted that day, its rate leaves the rest (a hazard taken for a rate leaves more).
def test_the_rate_of_a_hazard_leaves_what_the_hazard_leaves():
    assert -np.expm1(-rates(np.array([0.25, 0.5]))) == pytest.approx([0.25, 0.5], abs=1e-15)
