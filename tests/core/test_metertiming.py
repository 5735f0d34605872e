"""Power from timed pulses, and what is refused."""

import numpy as np
import pytest

from jobs.core.metertiming import Direction, Mark, signed_w, taps_in, timed, timed_by_taps, wh_of


def test_even_taps_give_the_power_of_their_pulse():
    # Four pulses of 1 Wh, 2 s each: 1,800 W. Taps 0, 2, 4, 6, 8: sum (i - 2)^2 = 10, u = 1800 * 0.2 / sqrt 10 / 2 = 56.9; U = 113.8.
    found = timed_by_taps((0, 2, 4, 6, 8), kh=1, tap_s=0.2)

    assert found.power_w == pytest.approx(1800)
    assert found.expanded_w == pytest.approx(113.8, abs=0.05)
    assert (found.count, found.seconds) == (4, 8)
    assert "1,800 ± 114 W from 4 in 8.0 s, each tap taken as right within 0.2 s." in found.words
    assert "count for 30 seconds or more" in found.words


def test_the_pulse_is_the_least_squares_slope_of_the_taps():
    taps = (0, 2.1, 3.9, 6.2, 8.0, 10.1)
    slope = np.polyfit(range(6), taps, 1)[0]

    assert timed_by_taps(taps, kh=1).power_w == pytest.approx(3600 / slope)


def test_the_stated_doubt_of_taps_is_what_simulated_thumbs_scatter_by():
    # 16 pulses of 2 s, each tap off by a normal 0.2 s, seed 5; 4,000 runs know a deviation within 1/sqrt(8000), 1.1 %.
    draw = np.random.default_rng(5)
    powers = [timed_by_taps(sorted(2 * np.arange(17) + draw.normal(0, 0.2, 17)), kh=1, tap_s=0.2).power_w for _ in range(4_000)]

    assert np.std(powers) == pytest.approx(timed_by_taps([2.0 * i for i in range(17)], kh=1, tap_s=0.2).expanded_w / 2, rel=0.05)


@pytest.mark.parametrize(
    ("taps", "words"),
    [
        ((0, 2), "At least 3 taps are wanted"),
        ((0, 2, 1.5), "must come after the one before it"),
        ((0, 2, 4, 8, 10), "Between tap 3 and tap 4 passed 4.0 s, where 2.0 s is usual"),
        ((0, 4, 8, 8.3, 12), "a pulse was missed, tapped twice"),
    ],
)
def test_taps_that_cannot_be_are_refused_in_a_sentence(taps, words):
    with pytest.raises(ValueError, match=words):
        timed_by_taps(taps, kh=1)


@pytest.mark.parametrize("given", ["0, 2,1x", "0 -2", "0, 2.1, nan", "٣, ٤, ٥"])
def test_taps_with_a_letter_or_a_sign_are_refused(given):
    with pytest.raises(ValueError, match="is not an instant"):
        taps_in(given)


def test_taps_are_read_with_commas_blanks_or_lines():
    assert taps_in("0, 2.1\n4.25 6") == (0, 2.1, 4.25, 6)


@pytest.mark.parametrize("wrong", [{"kh": 0}, {"count": 0}, {"seconds": -30}, {"seconds": float("nan")}, {"factor": -1}])
def test_a_constant_count_or_time_of_nothing_is_refused(wrong):
    with pytest.raises(ValueError, match="must be more than 0"):
        timed(**{"kh": 1, "count": 10, "seconds": 30, **wrong})


def test_an_impulse_constant_of_nothing_is_refused():
    with pytest.raises(ValueError, match="as its face shows it"):
        wh_of(Mark.IMPULSES, 0)


def test_the_pulses_have_no_sign_of_their_own():
    found = timed(kh=1, count=30, seconds=60)

    assert signed_w(found, Direction.IMPORT) == 1800
    assert signed_w(found, Direction.EXPORT) == -1800
    assert signed_w(found, Direction.NOT_SHOWN) is None
