"""When PV comes on, CTs between the meter and every source see import fall by its output."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core import ctpv
from jobs.core.ctcheck import Kind
from jobs.core.ctpv import PVTest, check_pv


def test_import_that_falls_by_what_pv_gives_is_net():
    verdict = check_pv(PVTest(900, -2_050, 0, 3_000))

    # From 900 to -2,050 W is a fall by 2,950 W; PV came on with 3,000 W.
    assert verdict.kind == Kind.CONSISTENT
    assert "fell by 2,950\u202fW" in verdict.cause
    assert verdict.expected_w == -3_000
    assert verdict.next_test == ""


def test_import_that_does_not_change_tells_cts_on_the_load_side():
    verdict = check_pv(PVTest(900, 900, 0, 3_000))

    assert verdict.kind == Kind.INCONSISTENT
    assert "did not change: the CTs stand on the load side of the PV" in verdict.cause
    assert "between the meter and every source" in verdict.next_test


def test_import_that_rises_by_what_pv_gives_reads_pv_as_a_load():
    verdict = check_pv(PVTest(900, 3_880, 0, 3_000))

    assert verdict.kind == Kind.INCONSISTENT
    assert "as if it were a load" in verdict.cause


def test_the_tolerance_counts_display_and_noise_twice():
    # Level 2,050 W, PV 3,000 W, by hand: (30.75^2 + 10.25^2 + 90^2) / 3 + 2 (100^2 / 12 + 50^2) = 9716.9; 2 sqrt = 197.1.
    assert check_pv(PVTest(900, -2_050, 0, 3_000)).tolerance_w == pytest.approx(197.1, abs=0.05)


@pytest.mark.parametrize(
    ("test", "words"),
    [
        (PVTest(900, 400, 600, 3_000), "already gave 600\u202fW"),
        (PVTest(900, 400, 0, 500), "too little to stand out"),
        (PVTest(900, -600, 0, 3_000), "a fall by 3,000\u202fW, or none, was to be expected"),
    ],
)
def test_what_decides_nothing_asks_for_the_test_that_would(test, words):
    verdict = check_pv(test)

    assert verdict.kind == Kind.CANNOT_TELL
    assert words in verdict.cause
    assert verdict.next_test


def test_pv_that_takes_power_is_refused():
    with pytest.raises(ValueError, match="PV gives power and takes none"):
        PVTest(900, 900, 0, -3_000)


@given(pv=st.integers(1_000, 12_000), base=st.integers(-2_000, 4_000), side=st.sampled_from([-1, 0, 1]), off=st.floats(-1, 1))
def test_no_place_of_the_cts_is_named_but_the_true_one(pv, base, side, off):
    tolerance = check_pv(PVTest(base, base + side * pv, 0, pv)).tolerance_w - 1
    verdict = check_pv(PVTest(base, round(base + side * pv + off * min(tolerance, 150)), 0, pv))

    named = {-1: "read net", 0: "on the load side", 1: "as if it were a load"}
    assert verdict.kind == Kind.CANNOT_TELL or named[side] in verdict.cause


def test_the_fact_keeps_the_readings():
    test = PVTest(900, -2_050, 0, 3_000)
    stored = json.loads(json.dumps(ctpv.fact_value(test, check_pv(test))))

    assert PVTest.from_json(stored["readings"]) == test
    assert stored["verdict"] == "consistent"
