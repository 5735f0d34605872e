"""Codes of jobs and requests that can be read out on the telephone: "KQ7M4E", on tags "KQ7 M4E".

Five characters drawn at random and one check character (ISO/IEC 7064 MOD 37-2), which finds every single wrong
character and every two neighbours changed over. A code opens nothing by itself.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from random import Random, SystemRandom
from typing import Final

from stdnum.iso7064 import mod_37_2

# Without what is misread or misheard: 0 and O, 1, I and L, 5's twin S.
ALPHABET: Final = "23456789ABCDEFGHJKMNPQRTUVWXYZ"
LENGTH: Final = 6

# The system's own source: a code must not be guessed from its neighbours.
_system: Final = SystemRandom()
_source: ContextVar[Random | None] = ContextVar("source", default=None)


def source() -> Random:
    """What new codes are drawn from."""
    return _source.get() or _system


@contextmanager
def drawn_from(random: Random) -> Iterator[None]:
    """Made-up data only: the same codes each time, so that two pictures of a page can be compared."""
    token = _source.set(random)
    try:
        yield
    finally:
        _source.reset(token)


def new_code(random: Random) -> str:
    """A new code. The caller sees that it is not in use, and draws again if it is."""
    while True:
        body = "".join(random.choice(ALPHABET) for _ in range(LENGTH - 1))
        check: str = mod_37_2.calc_check_digit(body)
        # The check character may be any of 37, also "*" and those we never give out.
        if check in ALPHABET:
            return body + check


def normal(text: str) -> str:
    """A typed code in its one written form: capitals, no blanks or hyphens. What is no code is left so."""
    return "".join(text.split()).replace("-", "").upper()


def is_code(text: str) -> bool:
    """Whether the text is a code we could have given out."""
    code = normal(text)
    return len(code) == LENGTH and all(c in ALPHABET for c in code) and bool(mod_37_2.is_valid(code))


def near(text: str) -> list[str]:
    """Codes one typed character away (one wrong, one left out, one too many, two changed over), for "did you mean"."""
    typed = normal(text)
    if is_code(typed) or not LENGTH - 1 <= len(typed) <= LENGTH + 1:
        return []
    tries: list[str] = []
    if len(typed) == LENGTH:
        tries += [typed[:i] + c + typed[i + 1 :] for i in range(LENGTH) for c in ALPHABET]
        tries += [typed[:i] + typed[i + 1] + typed[i] + typed[i + 2 :] for i in range(LENGTH - 1)]
    elif len(typed) == LENGTH - 1:
        tries += [typed[:i] + c + typed[i:] for i in range(LENGTH) for c in ALPHABET]
    else:
        tries += [typed[:i] + typed[i + 1 :] for i in range(LENGTH + 1)]
    return sorted({code for code in tries if is_code(code)})


def on_tag(code: str) -> str:
    """The code as printed on a tag, in two groups: "KQ7 M4E"."""
    return f"{code[:3]} {code[3:]}"
