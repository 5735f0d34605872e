"""Charts: places of marks worked out by hand, labels that never meet, the same marks on the page and on paper."""

import datetime as dt
import io
import random
from itertools import combinations, pairwise
from typing import Literal

import pytest
from django.template.loader import render_to_string
from pypdf import PdfReader
from reportlab.pdfbase import pdfmetrics

from jobs.core.charts import curve, outcomes, promises, ranges, weeks
from jobs.core.charts.axes import DayScale, Scale, month_labels, step_for, ticks
from jobs.core.charts.marks import Arrow, Bar, Chart, Cross, Diamond, Dot, Line, Path, Words, width_of
from jobs.core.charts.paper import Drawn
from jobs.core.papers import fonts
from jobs.core.papers.sheet import Entry, sheet

D = dt.date
TODAY = D(2026, 11, 25)
LONG = "Guadalupe Hernández-Whitfield de la Cruz y Montenegro, 4417 Old Sawmill Road, Unit 12"


def of_kind(chart, kind):
    return [mark for mark in chart.marks if isinstance(mark, kind)]


STATES: list[Literal["fitted", "waiting", "withdrawn"]] = ["fitted", "fitted", "waiting", "withdrawn"]


def waits_of(n, seed=5):
    draw = random.Random(seed)
    made = []
    for _ in range(n):
        state = draw.choice(STATES)
        days = draw.randint(0, 900)
        from_days = max(days - 9, 0) if state == "fitted" and draw.random() < 0.2 else None
        made.append(curve.Wait(state, days, from_days, href="/requests/X/", title=LONG))
    return made


def wait_chart(n=50, **changed):
    steps = [curve.Step(80, 0.1, 0.05, 0.2), curve.Step(129, 0.5, 0.4, 0.6), curve.Step(135, 0.9, 0.8, 0.95)]
    told = {"name": "waits", "steps": steps, "last": 300, "half": 129, "nine": 135, "waits": waits_of(n), "label": "Half by day 129."}
    return curve.wait_curve(**(told | changed))


def range_of(n, seed=7):
    draw = random.Random(seed)
    made = []
    for _ in range(n):
        first = draw.randint(1, 200)
        days = (first, first + draw.randint(5, 100), first + draw.randint(120, 900))
        a, b, c = (TODAY + dt.timedelta(days=day) for day in days)
        made.append(ranges.Range(a, b, c, TODAY + dt.timedelta(days=draw.randint(0, 60)), href="/requests/X/", title=LONG))
    return made


def week_chart(past, ahead):
    monday = D(2026, 11, 23)
    gone = [weeks.Week(monday - dt.timedelta(weeks=past - n - 1), seen=n % 5, title=LONG) for n in range(past)]
    coming = [weeks.Week(monday + dt.timedelta(weeks=n + 1), expected=123.4, low=8, high=1207, title=LONG) for n in range(ahead)]
    return weeks.weeks(name="weeks", columns=[*gone, *coming], unit="collars", label="About 120 a week.")


def promise_chart(n):
    draw = random.Random(n)
    dots = [promises.Promise(draw.randint(-20, 260), draw.random() < 0.7, href="/x/", title=LONG) for _ in range(n)]
    return promises.promises(name="promises", dots=dots, label="Promises.")


def outcome_charts(n):
    draw = random.Random(n)
    rows = [outcomes.Said(d := draw.randint(1, 90), d + 30, d + 200, draw.randint(1, 500), "/x/", LONG) for _ in range(n)]
    axis = outcomes.axis(rows)
    return [outcomes.head(axis, name="h"), *(outcomes.row(axis, row, name=f"o{place}") for place, row in enumerate(rows))]


def range_charts(n):
    rows = range_of(n)
    axis = ranges.axis(rows, today=TODAY)
    return [ranges.head(axis, name="h"), *(ranges.row(axis, row, name=f"r{place}") for place, row in enumerate(rows))]


def share_charts(n):
    shares = [outcomes.Share((k + 1) / (n + 1), k / max(n, 1), 0, 1, title=LONG) for k in range(n)]
    return [
        outcomes.stated_and_seen(name="shares", shares=shares, beside_it=shares[:1], label="x"),
        outcomes.pit(name="pit", shares=[0.1] * 10, low=0.05, high=0.2, label="x"),
    ]


# Places by hand


def test_the_curve_steps_where_the_shares_say():
    # 700 px: days 0 to 300 x 1.02 = 306 over 76 ... 686, so 610/306 px a day; 100 % at 10, 0 % at 230.
    chart = wait_chart(n=0)

    (line,) = of_kind(chart, Path)
    day = 610 / 306
    days, heights = zip(*line.points, strict=True)
    assert [x - 76 for x in days] == pytest.approx([0, 80 * day, 80 * day, 129 * day, 129 * day, 135 * day, 135 * day, 300 * day])
    assert heights == pytest.approx((230, 230, 208, 208, 120, 120, 32, 32))
    drops = [mark for mark in of_kind(chart, Line) if mark.dashed]
    assert [(drop.x1, drop.y1, drop.y2, drop.weight) for drop in drops] == [
        (pytest.approx(76 + 129 * day), pytest.approx(120), 230, 1.1),
        (pytest.approx(76 + 135 * day), pytest.approx(32), 230, 1.1),
    ]
    assert {"half fitted: day 129", "nine in ten: day 135"} <= {mark.words for mark in chart.words}


def test_dots_stand_in_bins_of_four_days_and_a_bracket_spans_its_own():
    waits = [
        curve.Wait("fitted", 8),
        curve.Wait("fitted", 11),
        curve.Wait("waiting", 12),
        curve.Wait("withdrawn", 13),
        curve.Wait("fitted", 30, from_days=20),
    ]
    chart = curve.wait_curve(name="w", steps=[], last=0, half=None, nine=None, waits=waits, label="x")

    # Days 0 to 32, the end of the last bin, over 610 px. Days 8 to 11 are one bin, its middle day 10; 12 to 15 the next, day 14.
    day = 610 / 32
    dots, crosses, bars = of_kind(chart, Dot), of_kind(chart, Cross), of_kind(chart, Bar)
    assert [(round(dot.x, 6), dot.solid) for dot in dots] == [
        (round(76 + 10 * day, 6), True),
        (round(76 + 10 * day, 6), True),
        (round(76 + 14 * day, 6), False),
    ]
    assert dots[0].y - dots[1].y == 7  # one over the other
    assert [round(cross.x, 6) for cross in crosses] == [round(76 + 14 * day, 6)]
    assert dots[2].y - crosses[0].y == 7
    assert [(round(bar.x, 6), round(bar.width, 6)) for bar in bars] == [(round(76 + 20 * day, 6), round(10 * day, 6))]


def test_a_stack_of_many_dots_grows_no_higher_than_its_strip_and_none_lie_on_each_other():
    chart = curve.wait_curve(
        name="w", steps=[], last=0, half=None, nine=None, waits=[curve.Wait("fitted", 20)] * 24 + [curve.Wait("fitted", 25)], label="x"
    )

    dots = of_kind(chart, Dot)
    places = sorted(dot.y for dot in dots if dot.x < dots[-1].x)
    assert len(places) == 24
    assert places[-1] - places[0] == pytest.approx(23 * 4)  # 96 px for 24
    assert all(below - above >= 2 * dots[0].r for above, below in pairwise(places))


def test_on_a_long_axis_a_stack_holds_more_days_and_the_caption_says_how_many():
    chart = curve.wait_curve(name="w", steps=[], last=1000, half=None, nine=None, waits=[curve.Wait("waiting", 3)], label="x")

    # 610 px over 1,020 days: four days are 2.4 px, less than a dot; eight are 4.8.
    assert "Stacks hold 8 days." in chart.caption


def test_past_weeks_are_solid_and_expected_ones_outlined_with_a_whisker():
    monday = D(2026, 12, 28)
    columns = [
        weeks.Week(monday, seen=4, title="four"),
        weeks.Week(monday + dt.timedelta(weeks=1), expected=5, low=2, high=10, href="/w/"),
    ]
    chart = weeks.weeks(name="w", columns=columns, unit="collars", label="x", pitch=36)

    # 0 to 10 x 1.05 over 154 ... 24: 130/10.5 px each. Columns at 44 + 18 and 44 + 54, bars 0.56 x 36 wide.
    each = 130 / 10.5
    seen, expected = of_kind(chart, Bar)
    assert (seen.solid, seen.x, seen.height) == (True, 62 - 10.08, pytest.approx(4 * each))
    assert (expected.solid, expected.x, expected.height, expected.href) == (False, 98 - 10.08, pytest.approx(5 * each), "/w/")
    whisker = [mark for mark in of_kind(chart, Line) if mark.x1 == mark.x2 == 98]
    assert [(mark.y1, mark.y2) for mark in whisker] == [(pytest.approx(154 - 2 * each), pytest.approx(154 - 10 * each))]
    (today,) = [mark for mark in of_kind(chart, Line) if mark.weight == 2]
    assert today.x1 == 80
    assert [mark.words for mark in chart.words][-5:] == ["28", "Dec", "4", "2027", "today"]


def test_a_range_row_has_its_ends_its_ring_and_the_promised_day():
    # From 25 November on, 100 days over 1 ... 290: 2.89 px a day.
    scale = DayScale(TODAY, TODAY + dt.timedelta(days=100), 1, 290)
    first, half, last, promised = (TODAY + dt.timedelta(days=n) for n in (10, 30, 70, 40))

    chart = ranges.row(scale, ranges.Range(first, half, last, promised, href="/r/", title="half by Christmas"), name="r")

    (ring,) = of_kind(chart, Dot)
    (diamond,) = of_kind(chart, Diamond)
    line = next(mark for mark in of_kind(chart, Line) if mark.weight == 1.5 and mark.y1 == mark.y2)
    assert (round(line.x1, 6), round(line.x2, 6)) == (29.9, 203.3)
    assert (round(ring.x, 6), ring.solid, round(diamond.x, 6)) == (87.7, False, 116.6)
    assert (chart.href, chart.label) == ("/r/", "half by Christmas")
    assert not of_kind(chart, Arrow)


def test_what_goes_beyond_the_axis_ends_in_an_open_arrow():
    scale = DayScale(TODAY, TODAY + dt.timedelta(days=100), 1, 290)

    beyond = ranges.row(scale, ranges.Range(TODAY + dt.timedelta(days=10), None, None, title="x"), name="r")
    never = ranges.row(scale, ranges.Range(None, None, None, title="x"), name="r")

    assert len(of_kind(beyond, Arrow)) == len(of_kind(never, Arrow)) == 1
    assert not of_kind(beyond, Dot)
    assert not of_kind(never, Dot)


def test_an_old_forecast_begins_at_today_and_not_left_of_it():
    scale = DayScale(TODAY, TODAY + dt.timedelta(days=100), 1, 290)
    first, half, last = (TODAY + dt.timedelta(days=n) for n in (-3, -1, 20))

    chart = ranges.row(scale, ranges.Range(first, half, last, title="x"), name="r")

    (ring,) = of_kind(chart, Dot)
    assert ring.x == 1


@pytest.mark.parametrize(("seen", "outside"), [(19, True), (20, False), (120, False), (121, True), (None, False)])
def test_a_fitting_before_or_after_its_range_is_called_outside(seen, outside):
    said = outcomes.Said(20, 50, 120, seen)
    chart = outcomes.row(outcomes.axis([said]), said, name="o")

    assert said.outside is outside
    assert [mark.words for mark in chart.words] == (["outside"] if outside else [])
    assert len(of_kind(chart, Cross)) == (seen is not None)


def test_stated_and_seen_lie_on_the_diagonal_if_what_was_said_is_perfect():
    shares = [outcomes.Share(k / 10, k / 10, 0, 1) for k in range(1, 10)]

    chart = outcomes.stated_and_seen(name="s", shares=shares, label="x")

    for dot in of_kind(chart, Dot):
        assert dot.x - 56 == pytest.approx(252 - dot.y)  # 240 px each way, from (56, 252) on


def test_promises_stack_by_days_with_the_day_at_zero():
    dots = [promises.Promise(0, True), promises.Promise(0, True), promises.Promise(5, False)]

    chart = promises.promises(name="p", dots=dots, label="x")

    # -8 to 15 over 20 ... 680.
    day = 660 / 23
    assert [(round(dot.x, 6), dot.solid) for dot in of_kind(chart, Dot)] == [
        (round(20 + 8 * day, 6), True),
        (round(20 + 8 * day, 6), True),
        (round(20 + 13 * day, 6), False),
    ]
    assert next(mark.x for mark in chart.words if mark.words == "the day") == pytest.approx(20 + 8 * day)


def test_ticks_are_round_numbers_with_room_for_their_labels():
    scale = Scale(0, 306, 76, 686)

    assert step_for(scale, 40) == 25
    assert ticks(scale, 100) == [0, 100, 200, 300]
    assert ticks(Scale(-8, 15, 0, 1), 5) == [-5, 0, 5, 10, 15]


def test_january_is_its_year_in_bold():
    labels = month_labels(DayScale(D(2026, 11, 25), D(2027, 3, 20), 0, 400), y=10, taken=40)

    # December begins after 21 px, where "today" stands.
    assert [(label.words, label.bold) for label in labels] == [("2027", True), ("Feb", False), ("Mar", False)]


def test_the_oldest_request_stands_inside_the_chart():
    for days in range(1, 700, 13):
        chart = curve.wait_curve(name="w", steps=[], last=0, half=None, nine=None, waits=[curve.Wait("waiting", days)], label="x")

        (ring,) = of_kind(chart, Dot)
        assert ring.x + ring.r <= 700 - 14


def test_where_january_has_no_room_the_year_stands_beside_the_next_month():
    def told(end):
        return [label.words for label in month_labels(DayScale(D(2026, 11, 25), D(2027, 8, 20), 1, end), y=10, taken=40)]

    assert told(end=160) == ["Apr 2027"]
    assert told(end=200) == ["Mar 2027", "Jul"]


# Labels


def charts_of(n):
    return [wait_chart(n), week_chart(n, n), promise_chart(n), *outcome_charts(n), *range_charts(n), *share_charts(n)]


@pytest.mark.parametrize("n", [0, 1, 50])
def test_labels_stand_inside_the_chart_and_never_on_each_other(n):
    for chart in charts_of(n):
        for words in chart.words:
            assert words.box.inside(chart.width + 1, chart.height), (chart.name, words)
        for one, other in combinations(chart.words, 2):
            assert not one.box.meets(other.box), (chart.name, one, other)


def test_a_drop_line_is_labelled_wherever_the_two_days_lie():
    for half in range(0, 300, 7):
        for nine in range(half, 300, 11):
            chart = wait_chart(0, half=half, nine=nine)

            labels = [words for words in chart.words if words.tone == "ink"]
            assert len(labels) == 2
            assert not labels[0].box.meets(labels[1].box)


@pytest.mark.parametrize(
    "text", ["half fitted: day 129", "nine in ten: day 1,213", "days since sent", "withdrawn", "2027", "100\u202f%", LONG]
)
def test_words_take_no_more_room_than_they_are_given(text):
    # Against the real widths of the type that our pages use.
    fonts.register()

    assert width_of(text) >= pdfmetrics.stringWidth(text, fonts.SANS, 13)
    assert width_of(text) * 1.06 >= pdfmetrics.stringWidth(text, fonts.SANS_BOLD, 13)


# On the page and on paper


def drawn(chart):
    return render_to_string("charts/_svg.html", {"chart": chart})


def test_every_mark_is_drawn_on_the_page_and_every_word_on_paper():
    for chart in charts_of(3):
        page = drawn(chart)
        paper = sheet([Entry(None, Drawn(chart))], title="x", author="x", foot="")

        shapes = sum(page.count(f"<{shape} ") for shape in ("circle", "line", "text", "rect", "path"))
        assert shapes == len(chart.marks) + chart.hatched  # the line of the hatching
        text = PdfReader(io.BytesIO(paper)).pages[0].extract_text().replace("Page 1 of 1", "").split("\n")
        for words in chart.words:
            assert words.words in text, (chart.name, words.words)
        assert len([line for line in text if line.strip()]) == len(chart.words)


def test_a_name_of_markup_stays_a_name():
    hostile = '<script>alert("x")</script>'
    chart = Chart("c", 100, 20, (Dot(5, 5, href='/x/?a="b', title=hostile), Words(1, 9, hostile)), label=hostile)

    page = drawn(chart)

    assert "<script" not in page
    assert page.count("&lt;script&gt;") == 3
    assert 'href="/x/?a=&quot;b"' in page


def test_marks_open_their_rows_outside_the_tab_order_and_the_sentence_is_the_label():
    page = drawn(wait_chart(3))

    assert page.count("<a ") == page.count('tabindex="-1"') == 3
    assert page.count("<title>") == 3
    assert 'role="group" aria-label="Half by day 129."' in page
    assert 'role="img"' in drawn(wait_chart(0))
    assert "style=" not in page


def test_the_figure_explains_its_marks_and_leads_to_its_table():
    page = render_to_string("charts/chart.html", {"chart": wait_chart(3), "title": "How long requests wait", "table": "t-waits"})

    assert "Line: share fitted by each day." in page
    assert '<a href="#t-waits">As a table' in page


def test_text_on_paper_is_never_below_seven_and_a_half_points():
    fits, too_wide = Chart("c", 700, 20, (), label="x"), Chart("c", 760, 20, (), label="x")

    assert Drawn(fits).height(414) == pytest.approx(20 * 414 / 700)
    assert 13 * 414 / 700 >= 7.5
    with pytest.raises(ValueError, match="too wide for 414 points"):
        Drawn(too_wide).height(414)
