"""What two consumption CTs read of a known load, right or wrong in every way we know. Pure.

Signs: import from the utility positive, export negative. CT A belongs on leg A and is paired with leg A's voltage, CT B
likewise. Source: active power P = Re(V I*), any circuits text, IEEE Std 1459.
"""

import cmath
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from math import radians
from typing import Final

LEG_V: Final = 120.0
# The ratings that are mistaken for each other in practice are 100, 200, 250, 400 and 500 A.
WRONG_RATIOS: Final = (0.4, 0.5, 0.8, 1.25, 2.0, 2.5)


class Service(StrEnum):
    SPLIT_120_240 = "120/240"
    TWO_LEGS_OF_120_208 = "120/208"


class Load(StrEnum):
    """Where the known load is connected."""

    LEG_A = "120 V on leg A"
    LEG_B = "120 V on leg B"
    ACROSS = "across both legs"


@dataclass(frozen=True)
class Step:
    """Rise of the reading caused by the load, in watts."""

    a_w: float
    b_w: float

    @property
    def total_w(self) -> float:
        return self.a_w + self.b_w


# What one CT may see: its share of the current of its own leg, and of the other leg; the cause and the mending in words,
# for one CT ("{ct}" and "{other}" are filled in) and for both of them alike.
@dataclass(frozen=True)
class _Seen:
    own: float
    other: float
    cause: str = ""
    mend: str = ""
    both_cause: str = ""
    both_mend: str = ""
    # The fault alone, where the cause also says a figure: readings between two wrong ratios tell the fault and not the figure.
    fault: str = ""
    both_fault: str = ""


_RIGHT = _Seen(1, 0)
_PLACINGS = (
    _RIGHT,
    _Seen(
        -1, 0, cause="CT {ct} is reversed", mend="turn CT {ct} round", both_cause="both CTs are reversed", both_mend="turn both CTs round"
    ),
    _Seen(
        0,
        1,
        cause="CT {ct} is on leg {other}",
        mend="pair CT {ct} with its own leg",
        both_cause="the CTs are swapped between the legs",
        both_mend="pair each CT with its own leg",
    ),
    _Seen(
        0,
        -1,
        cause="CT {ct} is on leg {other} and reversed",
        mend="pair CT {ct} with its own leg and turn it round",
        both_cause="the CTs are swapped between the legs and both are reversed",
        both_mend="pair each CT with its own leg and turn both round",
    ),
    _Seen(
        0,
        0,
        cause="CT {ct} is absent, open or not round this feeder",
        mend="see that the load really ran and why CT {ct} reads nothing of it",
        both_cause="both CTs are absent, open or not round this feeder",
        both_mend="see that the load really ran and why neither CT reads it",
    ),
    _Seen(
        1,
        1,
        cause="CT {ct} is round both hot conductors",
        mend="take the other hot conductor out of CT {ct}",
        both_cause="each CT is round both hot conductors",
        both_mend="leave in each CT only its own hot conductor",
    ),
    _Seen(
        -1,
        -1,
        cause="CT {ct} is round both hot conductors and reversed",
        mend="take the other hot conductor out of CT {ct} and turn it round",
        both_cause="each CT is round both hot conductors and reversed",
        both_mend="leave in each CT only its own hot conductor and turn both round",
    ),
)
_OTHER_LEG = _PLACINGS[2]


def _wrong_ratio(k: float, *, reversed_too: bool) -> _Seen:
    why = "the ratio set is wrong, and it is reversed" if reversed_too else "the ratio set is wrong"
    why_both = "the ratios set are wrong, and both are reversed" if reversed_too else "the ratios set are wrong"
    turn, turn_both = (" and turn it round", " and turn both round") if reversed_too else ("", "")
    return _Seen(
        -k if reversed_too else k,
        0,
        cause=f"CT {{ct}} reads {k:g} times what it should ({why})",
        mend=f"set the ratio that is printed on CT {{ct}}{turn}",
        both_cause=f"both CTs read {k:g} times what they should ({why_both})",
        both_mend=f"set the ratios that are printed on the CTs{turn_both}",
        fault=f"the ratio set for CT {{ct}} is wrong{' and it is reversed' if reversed_too else ''}",
        both_fault=f"the ratios set for both CTs are wrong{' and both are reversed' if reversed_too else ''}",
    )


_RATIOS = tuple(_wrong_ratio(k, reversed_too=turned) for k in WRONG_RATIOS for turned in (False, True))


@dataclass(frozen=True)
class Condition:
    """One way the two CTs can be: what each sees, and in words the cause, the mending and the fault without its figure."""

    a: _Seen
    b: _Seen
    cause: str
    mend: str
    fault: str

    @property
    def is_right(self) -> bool:
        return self.a == _RIGHT and self.b == _RIGHT

    @property
    def placing(self) -> "Condition":
        """The same without any wrong ratio: where each CT is and which way it points. True of this condition too."""
        a, b = (next((p for p in _PLACINGS[:2] if seen.fault and seen.own * p.own > 0), seen) for seen in (self.a, self.b))
        return Condition(a, b, *_in_words(a, b))


def signature(condition: Condition, *, load: Load, load_w: float, service: Service) -> Step:
    """What the two CTs read of a resistive load under this condition, from complex power P = Re(V I*)."""
    v_a = complex(LEG_V)
    v_b = cmath.rect(LEG_V, radians(180 if service is Service.SPLIT_120_240 else -120))
    across = {Load.LEG_A: v_a, Load.LEG_B: v_b, Load.ACROSS: v_a - v_b}[load]
    current = (load_w / across).conjugate()
    i_a = current if load is not Load.LEG_B else 0
    i_b = {Load.LEG_A: 0, Load.LEG_B: current, Load.ACROSS: -current}[load]
    seen_a = condition.a.own * i_a + condition.a.other * i_b
    seen_b = condition.b.own * i_b + condition.b.other * i_a
    return Step((v_a * seen_a.conjugate()).real, (v_b * seen_b.conjugate()).real)


@cache
def conditions() -> tuple[Condition, ...]:
    """Every pair of placings, and the wrong ratios of CTs on their own legs. A 120 V load on each leg tells all of them apart."""
    pairs = [(a, b) for a in _PLACINGS for b in _PLACINGS]
    straight = _PLACINGS[:2]
    pairs += [(a, b) for a in _RATIOS for b in straight] + [(a, b) for a in straight for b in _RATIOS]
    pairs += [(a, b) for a in _RATIOS for b in _RATIOS if abs(a.own) == abs(b.own)]
    return tuple(Condition(a, b, *_in_words(a, b)) for a, b in pairs)


def _in_words(a: _Seen, b: _Seen) -> tuple[str, str, str]:
    if a == b:
        return a.both_cause, a.both_mend, a.both_fault or a.both_cause
    if (a, b) == (_RIGHT, _OTHER_LEG):
        return "both CTs are on leg A", "move CT B to leg B", "both CTs are on leg A"
    if (a, b) == (_OTHER_LEG, _RIGHT):
        return "both CTs are on leg B", "move CT A to leg A", "both CTs are on leg B"
    legs = ((a, "A", "B"), (b, "B", "A"))
    causes = [seen.cause.format(ct=ct, other=other) for seen, ct, other in legs if seen.cause]
    mends = [seen.mend.format(ct=ct, other=other) for seen, ct, other in legs if seen.mend]
    faults = [(seen.fault or seen.cause).format(ct=ct, other=other) for seen, ct, other in legs if seen.cause]
    return " and ".join(causes), "; ".join(mends), " and ".join(faults)
