"""The picture of the CT check: places worked out by hand, and a row that fell outside its band."""

from itertools import combinations

import pytest

from jobs.core.charts import band
from jobs.core.charts.marks import Cross, Dot, Hatched

RIGHT = band.Row("load on A, leg A", 1_725, 1_700, 180)
QUIET = band.Row("load on A, leg B", 12, 0, 142)
TURNED = band.Row("load on B, leg B", -1_690, 1_700, 180)


def test_a_reading_inside_its_band_is_a_dot_and_one_outside_a_cross():
    chart = band.bands([RIGHT, QUIET, TURNED], name="b")

    dots, crosses = ([mark for mark in chart.marks if isinstance(mark, kind)] for kind in (Dot, Cross))
    assert (len(dots), len(crosses)) == (2, 1)
    assert crosses[0].title == "load on B, leg B: −1,690\u202fW, expected 1,700\u202fW ± 180\u202fW"
    assert chart.label == "Outside its band: load on B, leg B"


def test_the_band_is_as_wide_as_what_the_readings_may_be_wrong_by():
    chart = band.bands([RIGHT], name="b")

    # From 0 to 1,880 W and 4 % of that on either side: 250 px are 1,880 * 1.08 W.
    (hatched,) = [mark for mark in chart.marks if isinstance(mark, Hatched)]
    (dot,) = [mark for mark in chart.marks if isinstance(mark, Dot)]
    per_watt = 250 / (1_880 * 1.08)
    left, right = hatched.points[0][0], hatched.points[1][0]
    assert right - left == pytest.approx(360 * per_watt)
    assert dot.x - (left + right) / 2 == pytest.approx(25 * per_watt)
    assert chart.label == "Each step fell inside its band"


@pytest.mark.parametrize(
    "rows",
    [
        [RIGHT, QUIET, TURNED],
        [band.Row("load across, leg B", -80_000, 2_500, 300), RIGHT],
        [band.Row("load on B, leg A", 0, 0, 0)],
        [],
    ],
)
def test_words_lie_inside_the_picture_and_never_on_each_other(rows):
    chart = band.bands(rows, name="b")

    boxes = [words.box for words in chart.words]
    assert all(box.inside(chart.width, chart.height) for box in boxes)
    assert not any(one.meets(other) for one, other in combinations(boxes, 2))
