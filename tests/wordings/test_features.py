"""Phonemes against what phonetics says of them, not against the table itself."""

import itertools

import pytest

from prompter.speak.espeak import phonemes
from prompter.speak.voice import engine_voice
from prompter.wordings.features import _TABLE, FEATURES, segments, unlikeness

VOICED = [("p", "b"), ("t", "d"), ("k", "ɡ"), ("f", "v"), ("θ", "ð"), ("s", "z"), ("ʃ", "ʒ"), ("tʃ", "dʒ")]
"""The pairs of the IPA chart (revised to 2020) that differ in voicing alone."""


@pytest.mark.parametrize(("one", "other"), VOICED)
def test_pairs_that_differ_in_voicing_differ_in_that_feature_alone(one, other):
    assert unlikeness(one, other) == pytest.approx(FEATURES["voice"] / sum(FEATURES.values()))


@pytest.mark.parametrize(
    ("often", "seldom"),
    [
        (("p", "t"), ("p", "z")), (("p", "k"), ("p", "m")), (("t", "k"), ("t", "n")),
        (("f", "θ"), ("f", "ɡ")), (("m", "n"), ("m", "s")), (("v", "ð"), ("v", "k")),
        (("b", "d"), ("b", "ʃ")), (("d", "ɡ"), ("d", "n")),
    ],
)  # fmt: skip
def test_what_people_confuse_is_more_alike(often, seldom):
    """Consonants confused often and seldom in noise: Miller and Nicely, J Acoust Soc Am
    1955;27:338, tables II and III (place is lost before manner and nasality); from memory."""
    assert unlikeness(*often) < unlikeness(*seldom)


def test_every_two_vowels_are_more_alike_than_any_vowel_and_plosive():
    vowels = [p for p, signs in _TABLE.items() if signs[0] == "+"]
    between = max(unlikeness(a, b) for a, b in itertools.combinations(vowels, 2))
    assert between < min(unlikeness(v, p) for v in vowels for p in "ptkbdɡ")


@pytest.mark.parametrize("one", list(_TABLE))
def test_unlikeness_is_a_distance_in_its_range(one):
    assert len(_TABLE[one]) == len(FEATURES) and unlikeness(one, one) == 0
    for other in _TABLE:
        assert unlikeness(one, other) == unlikeness(other, one) and 0 <= unlikeness(one, other) <= 1


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("chest", "tʃ ɛ s t"), ("no", "n o ʊ"), ("flat", "f l æ t"), ("out", "a ʊ t"), ("help", "h ɛ l p"),
        ("thing", "θ ɪ ŋ"), ("worse", "w ɜ s"),
    ],
)  # fmt: skip
def test_words_as_dictionaries_of_american_english_say_them(text, expected):
    """Pronunciations of general American English, from memory of common dictionaries."""
    (said,) = phonemes([text], engine_voice("en-us", 160, 50))
    assert [s for phoneme in said for s in segments(phoneme)] == expected.split()


def test_a_comma_cuts_nothing_off_and_stress_leaves_no_mark():
    whole, first, second = phonemes(["limp, nothing", "limp", "nothing"], "en-us")
    assert whole == first + second and not set("".join(whole)) & {"ˈ", "ˌ", "_", " "}


def test_the_table_has_every_phoneme_of_the_flows_wordings(flow):
    texts = [wording for body in flow.answers.values() for wording in body.wordings]
    for accent in ("en-us", "en-gb", "en-gb-scotland"):
        said = phonemes(texts, engine_voice(accent, 160, 50))
        assert {s for words in said for p in words for s in segments(p)} <= _TABLE.keys()


def test_a_sign_the_table_lacks_stands_for_itself():
    assert segments("x") == ["x"] and unlikeness("x", "x") == 0 and unlikeness("x", "k") == 1
