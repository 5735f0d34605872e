"""Each act pressed by two at once, over connections of their own: one wins or both stand."""

from __future__ import annotations

import pytest

from jobs.core import actors
from jobs.core.acts import REGISTRY
from jobs.pages import reconcile
from tests.acts.examples import BOTH, all_examples
from tests.make import make_user
from tests.races import race

EXAMPLES = all_examples()
OFFICE = [name for name, example in EXAMPLES.items() if not example.link]


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("name", OFFICE)
def test_of_two_at_once_one_wins_or_both_stand(name):
    example = EXAMPLES[name]
    by = actors.person(make_user(sorted(example.roles)[0]))
    thing, kwargs = example.make(by)

    def press() -> str:
        REGISTRY[name].function(thing, by=by, **kwargs)
        return "done"

    answers = race(press, press)

    sentences = [answer for answer in answers if answer != "done"]
    if example.twice == BOTH:
        assert sentences == []
    else:
        assert len(sentences) == 1
        assert sentences[0].endswith(".")
    assert list(reconcile.breaches()) == []
