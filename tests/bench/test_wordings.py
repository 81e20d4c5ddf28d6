"""What is drawn for the measurement is what the flow allows; talk is no answer."""

import numpy as np
from talk import HOME, OPERATOR, at_home, operator, sentence
from wordings import allowed_at_a_step, draw, known, places, swapped, tables

from prompter.events import Started
from prompter.flow.machine import FlowMachine
from prompter.hear.shortlist import plain_words

NEVER = frozenset(plain_words(p.text) for p in known())


def test_the_first_place_allows_what_a_machine_allows_that_has_just_begun() -> None:
    for plan, table in tables().items():
        machine = FlowMachine(table)
        machine.feed(Started(0))
        place = next(p for p in places(plan) if p.step == machine.step)
        assert place.allowed == machine.phrases()
        assert place.asks_number == machine.asks_number


def test_drawn_phrases_are_allowed_and_come_from_every_plan() -> None:
    drawn = [draw(np.random.default_rng(seed)) for seed in range(400)]
    assert all(phrase in place.allowed for place, phrase in drawn)
    assert {place.plan for place, _ in drawn} == set(tables())
    own = sum(phrase.answer in place.own for place, phrase in drawn)
    assert 0.58 < own / 400 < 0.75  # OWN_SHARE within three standard deviations
    assert any(place.interrupted for place, _ in drawn)


def test_an_answer_finds_a_step_that_allows_it() -> None:
    for answer in dict.fromkeys(p.answer for p in known()):
        allowed = allowed_at_a_step(answer, np.random.default_rng(9))
        assert answer in {p.answer for p in allowed}


def test_the_same_seed_draws_the_same() -> None:
    one, two = (draw(np.random.default_rng(5)) for _ in range(2))
    assert one == two


def test_opposites_are_swaps_both_ways_and_neighbours_are_not() -> None:
    assert swapped("rising", "flat") and swapped("flat", "rising")
    assert swapped("passed", "won't pass")
    assert swapped("not better", "still fine")  # as the flow names it
    assert swapped("worse", "better")  # bad news into good
    assert not swapped("done", "say again")
    assert not swapped("flat", "worse")  # both bad news


def test_talk_is_mostly_new_and_never_an_answer() -> None:
    rng = np.random.default_rng(6)
    said = [at_home(rng, NEVER) for _ in range(2000)]
    assert len(set(said)) > 1500
    assert not {plain_words(text) for text in said} & NEVER
    assert not any(sign in text for text in said for sign in "{}|")


def test_every_rule_of_the_grammar_can_be_spoken() -> None:
    for rule in (*HOME, *OPERATOR):
        text = sentence(np.random.default_rng(7), [rule], NEVER)
        assert "{" not in text and len(text.split()) > 1


def test_an_operator_says_none_of_the_answers() -> None:
    rng = np.random.default_rng(8)
    assert not {plain_words(operator(rng, NEVER)) for _ in range(500)} & NEVER
