"""The recursion of the forecast core once more, day by day and row by row with plain numbers, to compare the quick one with."""

import math

from tests.utilities.slow_waits import slow_wait
from utilities.leadtimes import FITTED

EDGES = [0.0] + [0.25 * 1.1**j for j in range(99)]
CLASSES = range(99)
CANDIDATES = [(0, 4, 60), (0, 4, 400), (0, 16, 150), (0, 16, 1500), (0, 64, 1500), (1, 64, 1500), (2, 64, 1500)]


def slow_counts(rows, is_worked, as_of, utility):
    """[(fittings by class, days by class)] of each fortnight, oldest first; rows whose days are known, one calendar for all."""

    def age(day, sent):
        return sum(is_worked(step) for step in range(sent + 1, day + 1))

    oldest = min((row[1] for row in rows if slow_wait(row, age, as_of)), default=as_of)
    periods = min(max(math.ceil((as_of - oldest) / 14), 1), 104)
    counts = [([0.0] * 99, [0.0] * 99) for _ in range(periods)]
    for row in rows:
        wait = slow_wait(row, age, as_of)
        if wait is None or wait[0] != utility:
            continue
        _, entry, _, end, fitted = wait
        reached, day = 0, row[1]
        while reached < end:
            day += 1
            if day <= as_of and not is_worked(day):
                continue
            reached += 1
            # A fitting on a closed day right after the filing has age 1 before that working day has come.
            period = max(periods - 1 - max(as_of - day, 0) // 14, 0)
            if reached > entry:
                for b in CLASSES:
                    share = min(reached, EDGES[b + 1] if b < 98 else math.inf) - max(reached - 1, EDGES[b])
                    if share > 0:
                        counts[period][1][b] += share
                        if fitted and reached == end:
                            counts[period][0][b] += share
    return counts


def slow_learn(counts, pool_hazards):
    """Of each candidate (hazard by class, a, b, record, own fittings); pool_hazards: three, by class."""
    told = []
    for shift, borrowed, half_life in CANDIDATES:
        h0 = pool_hazards[shift]
        f0, e0, total = [], [], 0.0
        for b in CLASSES:
            width = EDGES[b + 1] - EDGES[b]
            days = max((math.exp(-total) - math.exp(-total - h0[b] * width)) / h0[b], 0.001 * width)
            total += h0[b] * width
            e0.append(days)
            f0.append(h0[b] * days)
        fitted, waited, pace_a, pace_b, even, batches = [0.0] * 99, [0.0] * 99, 4.0, 4.0, 0.0, 0.0
        for new_fitted, new_waited in counts:
            hazard = [(borrowed * f0[b] + fitted[b]) / (borrowed * e0[b] + waited[b]) for b in CLASSES]
            number = sum(new_fitted)
            expected = sum(hazard[b] * new_waited[b] for b in CLASSES)
            pace_a, pace_b = 0.95 * pace_a + 0.2, 0.95 * pace_b + 0.2
            which = sum(new_fitted[b] * math.log(hazard[b]) for b in CLASSES)
            held = min(1, 1 / pace_a)
            even = 0.97 * even + which + slow_chance(number, expected, pace_a, pace_b)
            batches = 0.97 * batches + which + slow_chance(number, expected, held * pace_a, held * pace_b)
            pace_a, pace_b = pace_a + number, pace_b + expected
            kept = 0.5 ** (14 / half_life)
            fitted = [kept * old + new for old, new in zip(fitted, new_fitted, strict=True)]
            waited = [kept * old + new for old, new in zip(waited, new_waited, strict=True)]
        hazard = [(borrowed * f0[b] + fitted[b]) / (borrowed * e0[b] + waited[b]) for b in CLASSES]
        record = math.log(math.exp(even) / 2 + math.exp(batches) / 2)
        told.append((hazard, pace_a, pace_b, record, sum(fitted)))
    return told


def slow_chance(number, expected, a, b):
    """ln of the negative binomial chance, without its factorials and without N ln E."""
    if not expected:
        return 0.0
    return math.lgamma(a + number) - math.lgamma(a) + a * math.log(b / (b + expected)) - number * math.log(b + expected)


SPEEDS = [(0.05, 0.03), (0.5, 0.10), (0.75, 0.24), (1, 0.29), (1.25, 0.24), (1.8, 0.10)]
LAGS = [1.15**j for j in range(46)]


def slow_front(counts, scale, sharpness):
    """(chance by (speed, lag), record) of a front."""

    def log_share(x):
        return math.log(0.93 / (1 + x**sharpness) + 0.03 * math.exp(-1.5 * x) + 0.04 / (1 + (x / 3) ** 1.5))

    def h1(b, lag):
        return 1 - math.exp(-(log_share(EDGES[b] / lag) - log_share(EDGES[b + 1] / lag)) / (EDGES[b + 1] - EDGES[b]))

    hazard = [[h1(b, lag) for b in CLASSES] for lag in LAGS]
    normal = [math.exp(-(((math.log(lag) - scale) / 0.5) ** 2) / 2) for lag in LAGS]
    chance = {(s, j): SPEEDS[s][1] * normal[j] / sum(normal) for s in range(6) for j in range(46)}
    record, begun = 0.0, False
    for fitted, waited in counts:
        if begun:
            chance = slow_moved(chance)
        begun = begun or sum(waited) > 0
        weighed = {}
        for (s, j), before in chance.items():
            v = SPEEDS[s][0]
            told = sum(fitted[b] * math.log(v * hazard[j][b]) - waited[b] * v * hazard[j][b] for b in CLASSES if waited[b])
            weighed[s, j] = before * math.exp(told)
        whole = sum(weighed.values())
        record = 0.97 * record + math.log(whole)
        chance = {state: part / whole for state, part in weighed.items()}
    return chance, record


def slow_moved(chance):
    moved = dict.fromkeys(chance, 0.0)
    for (s, j), before in chance.items():
        for new, (v, usual) in enumerate(SPEEDS):
            share = before * (0.2 * usual + (0.8 if new == s else 0))
            lag = LAGS[j] + 10 * (1 - v) if v <= 1 else LAGS[j] * math.exp(-10 * (v - 1) / LAGS[j])
            place = min(max(math.log(lag) / math.log(1.15), 0), 45)
            low = min(int(place), 44)
            moved[new, low] += share * (low + 1 - place)
            moved[new, low + 1] += share * (place - low)
    return moved


def fitted_or_open(rows):
    """Rows without brackets."""
    return [(*row[:5],) for row in rows if row[4] != FITTED or row[3] is not None]
