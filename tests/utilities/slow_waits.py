"""The plain estimator once more, day by day and row by row, to compare the quick one with."""

import math

from utilities.leadtimes import CANCELLED, FITTED, HORIZON, NO_DAY


def slow_forecast(rows, is_worked, as_of, utility, filed):
    """The 99 days and the chance of never, of one request; rows as for `tests.utilities.waits.history`, one calendar for all."""

    def age(day, sent):
        return sum(is_worked(step) for step in range(sent + 1, day + 1))

    waits = [wait for row in rows if (wait := slow_wait(row, age, as_of))]
    own = [wait for wait in waits if wait[0] == utility]
    hazard = slow_hazard(own if sum(wait[4] for wait in own) >= 5 else waits)

    q: list[int] = []
    log_open, at = 0.0, age(as_of, filed)
    for day in range(as_of + 1, as_of + HORIZON + 1):
        if is_worked(day) and day > filed:
            at += 1
            log_open += math.log1p(-min(hazard(at), 0.98))
            while len(q) < 99 and -math.expm1(log_open) >= (len(q) + 1) / 100 - 1e-9:
                q.append(day)
    return q + [NO_DAY] * (99 - len(q)), math.exp(log_open)


def slow_wait(row, age, as_of):
    """(utility, entry, low, end, fitted), or None for a row that tells nothing."""
    utility, filed, known_from, by, outcome, after = (*row, None)[:6]
    if filed > as_of or (known_from is not None and known_from > as_of):
        return None
    if by is None or by > as_of:
        outcome, by = None, as_of
    elif known_from is not None and by < known_from:
        return None
    entry = 0 if known_from is None else age(known_from - 1, filed)
    end = age(by, filed)
    if outcome != FITTED:
        assert outcome in (None, CANCELLED)
        return utility, min(entry, end), end, end, False
    end = max(end, 1)
    low = end - 1 if after is None else age(after, filed)
    return utility, min(entry, end - 1), min(max(low, min(entry, end - 1)), end - 1), end, True


def slow_hazard(waits):
    oldest = max((wait[3] for wait in waits), default=0)
    ages = range(1, oldest + 1)
    shares = [dict.fromkeys(range(low + 1, end + 1), 1 / (end - low)) if fitted else {end: 1.0} for _, _, low, end, fitted in waits]
    for _ in range(3):
        fitted = {age: sum(share.get(age, 0) for wait, share in zip(waits, shares, strict=True) if wait[4]) for age in ages}
        watched = {
            age: sum(chance for wait, share in zip(waits, shares, strict=True) for end, chance in share.items() if wait[1] < age <= end)
            for age in ages
        }
        raw = {age: fitted[age] / watched[age] if fitted[age] else 0.0 for age in ages}
        shares = [next_share(wait, share, raw) for wait, share in zip(waits, shares, strict=True)]

    days, n = sum(watched.values()), sum(fitted.values())
    if n == 0:
        return lambda age: 1 / (days + 40)
    behind = [start for start in ages if fitted[start] and sum(fitted[age] for age in ages if age > start) >= 5 - 1e-9]
    tail_from = max(behind, default=0)
    tail = sum(fitted[age] for age in ages if age > tail_from) / sum(watched[age] for age in ages if age > tail_from)

    def hazard(age):
        if age <= oldest and watched[age] >= 5 - 1e-9:
            return raw[age]
        return tail if age > tail_from else n / days

    return hazard


def next_share(wait, share, raw):
    _, _, low, end, fitted = wait
    if not fitted or end - low == 1:
        return share
    still_open, chances = 1.0, {}
    for age in range(low + 1, end + 1):
        chances[age] = still_open * min(raw[age], 0.98)
        still_open *= 1 - min(raw[age], 0.98)
    return {age: chance / sum(chances.values()) for age, chance in chances.items()}
