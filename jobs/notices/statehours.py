"""Hours that a state leaves for telephoning and texting a home, where they are narrower than the federal ones. Pure.

The statutes are about sales calls; ours are not, and we keep their hours all the same, as a floor below the house rule. What was not
read in the statute itself is marked; counsel confirms a row before it is relied on. Public holidays, on
which Alabama, Louisiana, Mississippi, Pennsylvania, Rhode Island and Utah want no sales call either, are not in here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time
from enum import StrEnum
from typing import Final

Window = tuple[time, time]  # [opens, closes), by the wall clock at the home


class Sure(StrEnum):
    STATUTE = "statute read"
    SECONDARY = "from tables of others and from memory, statute not read"


@dataclass(frozen=True)
class StateHours:
    weekdays: Window
    saturday: Window | None
    sunday: Window | None
    source: str
    sure: Sure = Sure.SECONDARY

    def on(self, day: date) -> Window | None:
        """The hours of a day; None where there are none."""
        return {5: self.saturday, 6: self.sunday}.get(day.weekday(), self.weekdays)


def _all_days(opens: int, closes: int, source: str) -> StateHours:
    window = (time(opens), time(closes))
    return StateHours(window, window, window, source)


def _no_sunday(opens: int, closes: int, source: str) -> StateHours:
    window = (time(opens), time(closes))
    return StateHours(window, window, None, source)


# Read on 2026-11-25 in two published tables of calling hours that agree; the section named is from memory unless quoted there.
STATES: Final[dict[str, StateHours]] = {
    "AL": _no_sunday(8, 20, "Ala. Code 8-19C"),
    "CT": _all_days(9, 20, "Conn. Gen. Stat. 42-288a"),
    "FL": _all_days(8, 20, "Fla. Stat. 501.616(6)(a)"),
    "KY": _all_days(10, 21, "Ky. Rev. Stat. 367.46955"),
    "LA": _no_sunday(8, 20, "La. Pub. Serv. Comm. Gen. Order R-29617, V(A)(2), as quoted in one of the tables"),
    "MA": _all_days(8, 20, "Mass. Gen. Laws ch. 159C"),
    "MD": _all_days(8, 20, "Md. Code, Com. Law 14-4503"),
    "MI": _all_days(9, 21, "Mich. Comp. Laws 445.111a"),
    "MN": _all_days(9, 21, "Minn. Stat. 325E.30"),
    "MS": _no_sunday(8, 20, "Miss. Code 77-3-723"),
    "NM": _all_days(9, 21, "N.M. Stat. 57-12-22"),
    "NV": _all_days(9, 20, "Nev. Rev. Stat. 598.0918"),
    "OK": _all_days(8, 20, "Okla. Stat. tit. 15, 775C.4"),
    "PA": _no_sunday(8, 21, "73 Pa. Stat. 2241 ff.; no Sundays from 18 October 2026, by one table only"),
    "RI": StateHours(
        (time(9), time(18)), (time(10), time(17)), None, "R.I. Gen. Laws 5-61-3.6 (read) with the hours of 5-61-2(9) (not read)"
    ),
    "TX": StateHours((time(9), time(21)), (time(9), time(21)), (time(12), time(21)), "Tex. Bus. & Com. Code 301.051"),
    "UT": _no_sunday(8, 21, "Utah Code 13-25a-103"),
    "WA": _all_days(8, 20, "Rev. Code Wash. 80.36.390"),
    "WY": _all_days(8, 20, "Wyo. Stat. 40-12-302"),
}
