"""What the page of one CT check shows: the stored readings computed again, beside what right CTs would have shown."""

from __future__ import annotations

from dataclasses import dataclass

from jobs.core import ctcheck, ctclass, words
from jobs.core.charts import band
from jobs.core.charts.marks import Chart
from jobs.core.ctbudget import Contribution
from jobs.core.ctsignatures import LEG_V, Load
from jobs.core.models import Fact


@dataclass(frozen=True)
class Line:
    """One step of one leg, in words."""

    load: str
    leg: str
    seen: str
    expected: str
    tolerance: str
    inside: str
    drift: str


@dataclass(frozen=True)
class Shown:
    service: str
    lines: tuple[Line, ...]
    chart: Chart
    ratios: tuple[str, ...]  # of CT A and CT B
    contributions: tuple[tuple[Contribution, str], ...]
    combined: str
    expanded: str
    in_range: str  # where in the CTs' range the loads stand, once their rating is on record


def shown(fact: Fact, *, fitted: Fact | None) -> Shown | None:
    """None of a check that came with an import: it brought a verdict and no readings. fitted: what is on record of the CTs."""
    if not fact.value["readings"]:
        return None
    tests = ctcheck.TwoSteps.from_json(fact.value["readings"])
    found = ctcheck.bands(tests)
    parts = ctcheck.budget_of(tests.on_a, budget=tests.budget)
    expanded = ctcheck.tolerance_of(tests.on_a, budget=tests.budget)
    return Shown(
        service=f"{tests.service.value} V",
        lines=tuple(
            Line(
                f"{words.watts(tests.by_load[one.load].load_w)}, {one.load}",
                one.leg,
                words.watts(one.seen_w),
                words.watts(one.expected_w),
                words.watts(one.tolerance_w),
                "inside" if one.is_inside else "outside",
                words.watts(one.drift_w),
            )
            for one in found
        ),
        chart=band.bands([band.Row(_named(one), one.seen_w, one.expected_w, one.tolerance_w) for one in found], name="ct-bands"),
        ratios=tuple(f"{ratio.k:.2f} ± {ratio.expanded:.2f}".replace("-", words.MINUS) for ratio in ctcheck.ratios(tests)),
        contributions=tuple((part, words.watts(part.u_w)) for part in parts),
        combined=words.watts(expanded / 2),
        expanded=words.watts(expanded),
        in_range=_in_range(tests, fitted),
    )


def _in_range(tests: ctcheck.TwoSteps, fitted: Fact | None) -> str:
    """The customary load stands at the bottom of a CT's range: a right check finds gross faults and says nothing of accuracy."""
    if fitted is None:
        return ""
    rated, accuracy_class = fitted.value["rated_a"], fitted.value.get("accuracy_class", "")
    share = 100 * ctclass.share_of_rated(max(tests.on_a.load_w, tests.on_b.load_w), volts=LEG_V, rated_a=rated)
    told = f"The larger 120 V load is {share:.1f} % of the {rated} A that the CTs are rated for"
    if accuracy_class not in ctclass.RATIO_ERROR:
        return f"{told}."
    limit = ctclass.ratio_error_limit(accuracy_class, percent_of_rated=share)
    if limit is None:
        return f"{told}; there class {accuracy_class} sets no limit (IEC 61869-2)."
    return f"{told}; there class {accuracy_class} may err by {limit:g} % (IEC 61869-2)."


def _named(one: ctcheck.Band) -> str:
    where = {Load.LEG_A: "load on A", Load.LEG_B: "load on B", Load.ACROSS: "load across"}[one.load]
    return f"{where}, leg {one.leg}"
