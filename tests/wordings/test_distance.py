"""How far apart wordings sound."""

import pytest

from prompter.wordings.distance import Distances, distance


@pytest.fixture(scope="module")
def between():
    texts = ["no air", "know air", "going up", "not going up", "chest flat", "won't pass", "kicking",
             "it's off", "it's on", "paramedics are here", "picking", "lots of blood", ""]  # fmt: skip
    return Distances(texts).between


def test_words_that_sound_the_same_have_no_distance(between):
    assert between("no air", "know air") == 0 and between("going up", "going up") == 0


def test_it_is_the_same_both_ways_and_between_0_and_1(between):
    for one, other in (("going up", "chest flat"), ("it's off", "it's on"), ("", "kicking")):
        assert between(one, other) == between(other, one)
        assert 0 < between(one, other) <= 1
    assert between("", "kicking") == 1


def test_one_phoneme_more_counts_one_of_the_longer_wordings_length():
    assert distance(("p", "a"), ("p", "a", "t")) == pytest.approx(1 / 3)
    assert distance(("p", "a", "t"), ("p", "a", "d")) < 1 / 3 / 5  # voicing alone


def test_a_small_change_is_nearer_than_another_wording(between):
    assert between("kicking", "picking") < between("kicking", "going up")
    assert between("going up", "not going up") < between("going up", "chest flat")
    assert between("won't pass", "paramedics are here") > between("it's off", "it's on")


def test_it_is_the_least_over_the_accents():
    """'Hut' and 'hot' part in both; 'cart' keeps its r only in America (Wells, Accents of English, 1982)."""
    both = Distances(["cart", "cat"])
    american, british = ([s[i] for s in both._sounds.values()] for i in (0, 1))
    assert both.between("cart", "cat") == min(distance(*american), distance(*british))
    assert distance(*british) < distance(*american)
