"""What a run of the bench found: scores by world, and the tables made of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.bench.scoring import SHARES, Scores
from tests.bench.worlds import FAMILIES, IN_ORDER

KNOWING_ALL = "Kaplan-Meier knowing all outcomes"
FEW = 50  # forecasts that can be judged: with fewer a world's coverage is all chance
REAL, REAL_SMALL = "real", "real, small groups"


@dataclass(frozen=True)
class Result:
    """Scores of one world. by: (ours, theirs) for each rival, over the as-of days that the rival could forecast."""

    name: str
    family: str
    own: Scores
    by: dict[str, tuple[Scores, Scores]]
    seconds: float

    def ratio(self, rival: str) -> float:
        own, theirs = self.by[rival]
        return own.crps / theirs.crps if theirs.crps > 0 and own.crps > 0 else float("nan")


@dataclass(frozen=True)
class Mean:
    """Geometric mean of ratios, its standard error over worlds, and of how many worlds."""

    mean: float
    error: float
    worlds: int

    def __str__(self) -> str:
        return f"{self.mean:.3f} ± {self.error:.3f}"


def geometric(ratios: Iterable[float]) -> Mean:
    logs = np.log([ratio for ratio in ratios if np.isfinite(ratio)])
    if not logs.size:
        return Mean(float("nan"), float("nan"), 0)
    mean = float(np.exp(logs.mean()))
    error = mean * float(logs.std(ddof=1)) / np.sqrt(logs.size) if logs.size > 1 else float("nan")
    return Mean(mean, float(error), int(logs.size))


def beside(results: Sequence[Result], rival: str) -> Mean:
    return geometric(result.ratio(rival) for result in results)


def covering(results: Sequence[Result]) -> list[int]:
    """Worlds with enough judged, of each of SHARES."""
    return [sum(r.own.weight[p] >= FEW for r in results) for p in range(len(SHARES))]


def coverage(results: Sequence[Result]) -> list[float]:
    """Mean over worlds of the share fitted by the quantile, of each of SHARES."""
    return [_mean([r.own.covered[p] / r.own.weight[p] for r in results if r.own.weight[p] >= FEW]) for p in range(len(SHARES))]


def apart(results: Sequence[Result]) -> list[float]:
    """Mean distance of a world's coverage from what it should be."""
    return [
        _mean([abs(r.own.covered[p] / r.own.weight[p] - share) for r in results if r.own.weight[p] >= FEW])
        for p, share in enumerate(SHARES)
    ]


def _mean(shares: Sequence[float]) -> float:
    return float(np.mean(shares)) if shares else float("nan")


def room(results: Sequence[Result]) -> Mean:
    """CRPS of Kaplan-Meier that knows all outcomes, by that of Kaplan-Meier: less can hardly be hoped for where nothing drifts."""
    return geometric(result.ratio("Kaplan-Meier") / result.ratio(KNOWING_ALL) for result in results)


def by_kind(results: Sequence[Result]) -> dict[str, list[Result]]:
    groups: dict[str, list[Result]] = defaultdict(list)
    for result in results:
        groups[result.family].append(result)
    return groups


def sums(results: Sequence[Result]) -> dict[str, list[Result]]:
    """Groups of kinds; one without worlds is left out."""
    simulated = [result for result in results if result.family not in (REAL, REAL_SMALL)]
    groups = {
        "simulated": simulated,
        "in order": [result for result in simulated if result.family in IN_ORDER],
        REAL: [result for result in results if result.family == REAL],
        REAL_SMALL: [result for result in results if result.family == REAL_SMALL],
        "all": list(results),
    }
    return {name: rows for name, rows in groups.items() if rows}


def table(results: Sequence[Result], names: Sequence[str]) -> str:
    shown = by_kind([result for result in results if result.family in FAMILIES]) | {
        f"{name}:": rows for name, rows in sums(results).items()
    }
    heads = [f"{'':19}{'worlds':>6}", *[f"{_short(name):>20}" for name in names], f"{'q80':>7}{'q90':>7}{'±q80':>7}{'±q90':>7}   of worlds"]
    lines = ["".join(heads)]
    for name, rows in shown.items():
        cells = []
        for rival in names:
            ratio = beside(rows, rival)
            note = "" if ratio.worlds == len(rows) else f" ({ratio.worlds})"
            cells.append(f"{ratio}{note}".rjust(20))
        figures = [*coverage(rows), *apart(rows)]
        lines.append(
            f"{name:19}{len(rows):>6}"
            + "".join(cells)
            + "".join(f"{figure:7.3f}" for figure in figures)
            + f"   {' '.join(map(str, covering(rows)))}"
        )
    return "\n".join(lines)


def _short(name: str) -> str:
    return name.replace("lifelines ", "ll ").replace("scikit-survival ", "sk ").replace("without ", "-")[:19]


def best_afterwards(results: Sequence[Result], names: Sequence[str]) -> Mean:
    """Against the best of all rivals, chosen afterwards in each world."""
    return geometric(max((ratio for name in names if np.isfinite(ratio := r.ratio(name))), default=float("nan")) for r in results)


def weakest(results: Sequence[Result]) -> list[Result]:
    return sorted(results, key=lambda r: -np.nan_to_num(r.ratio("Kaplan-Meier")))[:12]
