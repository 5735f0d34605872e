"""Which debts a line of a bank's file may have paid; without the database."""

from __future__ import annotations

import pytest

from billing.matching import Book, Line, Open, likeness, words_of

A1 = Open("a1", "ana", "1001", 100_00, ("Ana Hernández", "Ana Hernández"))
A2 = Open("a2", "ana", "1002", 250_00, ("Ana Hernández", "Ana Hernández"))
B1 = Open("b1", "sunlit", "1003", 250_00, ("Sunlit Trust", "Ben Okafor"))
B2 = Open("b2", "sunlit", "A-17", 400_00, ("Sunlit Trust", "Cy Young"))


def proposed(payer: str, text: str, amount: int, debts=(A1, A2, B1, B2)):
    return Book(debts).propose(Line(payer, text, amount))


@pytest.mark.parametrize(
    ("payer", "text", "amount", "parts", "by"),
    [
        # The number stands for itself, whoever paid.
        ("unknown", "payment invoice 1002 thanks", 250_00, (("a2", 250_00),), ("number", "amount")),
        ("SUNLIT", "A-17", 400_00, (("b2", 400_00),), ("number", "amount", "name")),
        # Two numbers of one payer are one remittance.
        ("Sunlit", "1003 A-17", 650_00, (("b1", 250_00), ("b2", 400_00)), ("number", "amount", "name")),
        # An amount that only one payer owes, or one payer of this name.
        ("nobody we know", "", 400_00, (("b2", 400_00),), ("amount",)),
        ("HERNANDEZ A", "", 250_00, (("a2", 250_00),), ("amount", "name")),
        # The name alone: the longest due first.
        ("Hernandez, Ana", "", 120_00, (("a1", 100_00), ("a2", 20_00)), ("name",)),
    ],
)
def test_a_line_is_proposed_by_number_amount_and_name(payer, text, amount, parts, by):
    found = proposed(payer, text, amount)

    assert found is not None
    assert (found.parts, found.by) == (parts, by)


@pytest.mark.parametrize(
    ("payer", "text", "amount"),
    [
        ("nobody we know", "", 250_00),  # two payers owe it
        ("nobody we know", "", 77_00),
        ("nobody we know", "1001 1003", 350_00),  # numbers of two payers
    ],
)
def test_nothing_is_proposed_where_nothing_is_likelier(payer, text, amount):
    assert proposed(payer, text, amount) is None


def test_a_proposal_says_what_would_be_left_over_and_what_would_stay_open():
    over, short = proposed("x", "1001", 130_00), proposed("x", "1001", 90_00)

    assert over is not None
    assert short is not None
    assert (over.rest_minor, over.short_minor, over.even) == (30_00, 0, False)
    assert (short.rest_minor, short.short_minor, short.even) == (0, 10_00, False)


def test_a_debt_that_one_line_settles_is_not_proposed_to_the_next():
    book = Book((A1, A2, B1, B2))
    first = book.propose(Line("x", "1002", 250_00))
    assert first is not None
    book.take(first)

    second = book.propose(Line("x", "", 250_00))

    assert second is not None
    assert second.parts == (("b1", 250_00),)


def test_names_are_likened_by_their_words_without_accents_and_with_initials():
    assert words_of("Hernández & Co.") == {"hernandez"}
    assert likeness(words_of("HERNANDEZ G"), words_of("Guadalupe Hernández")) == 0.75
    assert likeness(words_of("Okafor"), words_of("Ana Hernández")) == 0.0
