"""The week plan at size: python -m tests.bench.weekplan [--homes 200] [--verifiers 10] [--days 5] [--runs 3]

Prints, with and without ten double calls, the seconds of the exact plan and its worth as a ratio to first come, first served (each home, in
the order of its collar, takes the first place it can). Made-up homes of a fixed seed, of unlike worth, in four zones; nothing is asserted.
"""

from __future__ import annotations

import argparse
import datetime as dt
import random
import statistics
import sys
import time

from jobs.appointments.slots import HOUSE_RULE, PLACE, WeeklyHours, at_home, free_places
from jobs.appointments.weekplan import Home, Place, best_plan, first_come

MONDAY = dt.datetime(2026, 11, 30, tzinfo=dt.UTC)
ZONES = ("America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles")


def made_up(homes: int, verifiers: int, days: int, doubles: int, seed: int) -> tuple[list[Home], list[Place], list[Home]]:
    """Homes, places, and the homes in the order in which their collars came."""
    draw = random.Random(seed)
    week = [WeeklyHours(day, dt.time(9), dt.time(17)) for day in range(days)]
    last_day = MONDAY.date() + dt.timedelta(days=days - 1)
    places = sorted(
        Place(starts_at, verifier, starts_at + PLACE)
        for verifier in range(verifiers)
        for starts_at in free_places(
            week, verifier_zone=ZONES[verifier % len(ZONES)], time_off=[], taken=[], first_at=MONDAY, last_day=last_day
        )
    )
    spanish = {verifier for verifier in range(verifiers) if verifier % 3 == 0}
    made = []
    for number in range(homes):
        zone, speaks, double = draw.choice(ZONES), draw.random() < 0.2, number < doubles
        end = last_day + dt.timedelta(days=1)
        gains = {}
        for place, one in enumerate(places):
            slot = at_home(one.starts_at, places=2 if double else 1, zone=zone, quiet=HOUSE_RULE)
            if slot is not None and (not speaks or one.verifier in spanish):
                gains[place] = (end - slot.local_date).days
        worth = round(draw.lognormvariate(9.5, 0.8))  # cents a day; in the middle about $134
        made.append(Home(f"K{number:05d}", worth, gains, draw.choice((60_000, 137_500, 250_000)), 2 if double else 1))
    return made, places, draw.sample(made, len(made))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    for name, default in (("homes", 200), ("verifiers", 10), ("days", 5), ("runs", 3)):
        parser.add_argument(f"--{name}", type=int, default=default)
    asked = parser.parse_args()
    for doubles in (0, 10):
        seconds, ratios = [], []
        for seed in range(asked.runs):
            homes, places, by_collar = made_up(asked.homes, asked.verifiers, asked.days, doubles, seed)
            begun = time.perf_counter()
            plan = best_plan(homes, places=places)
            seconds.append(time.perf_counter() - begun)
            plain = first_come(by_collar, places=places)
            ratios.append(plan.gained_minor / plain.gained_minor)
        sys.stdout.write(
            f"{asked.homes} homes, {len(places)} places, {doubles} double calls: {statistics.median(seconds):.2f} s in the middle "
            f"(most {max(seconds):.2f}), worth {min(ratios):.3f} to {max(ratios):.3f} of first come, first served\n"
        )


if __name__ == "__main__":
    main()
