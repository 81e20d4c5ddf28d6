"""Which wordings are worth scoring, given a garbled free decode."""

import pytest

from prompter.events import Phrase
from prompter.hear.shortlist import likeness, likeness_of_any, nearest, plain_words, sounds_of

WORDINGS = ["chest flat", "no rise", "going up", "it's stuck", "won't pass", "say again", "no phone"]


def test_plain_words_keep_letters_digits_and_apostrophes() -> None:
    assert plain_words("  It’s… 88%, done! ") == "it's 88 done"


@pytest.mark.parametrize(("one", "other"), [("knees", "neez"), ("phone", "fone"), ("back", "bak")])
def test_spellings_of_one_sound_are_equal(one: str, other: str) -> None:
    assert sounds_of(one) == sounds_of(other)


def test_likeness_runs_from_nothing_to_the_same() -> None:
    assert likeness("", "going up") == 0.0
    assert likeness("Going up.", "going up") == 1.0
    assert 0 < likeness("Just flat", "chest flat") < 1


@pytest.mark.parametrize(  # free decodes of a small model, as measured
    ("heard", "said"),
    [("Wumpass.", "won't pass"), ("Take again.", "say again"), ("Just float", "chest flat"),
     ("This is stuck.", "it's stuck"), ("Your prize", "no rise")],
)  # fmt: skip
def test_garbled_decodes_still_find_their_wording(heard: str, said: str) -> None:
    phrases = [Phrase(wording, "it") for wording in WORDINGS]
    like = {wording: likeness(heard, wording) for wording in WORDINGS}
    assert said in [p.text for p in nearest(phrases, like, (3, 0))]


def test_the_nearest_of_several_decodes_counts() -> None:
    assert likeness_of_any(["mm", "Going up."], "going up") == 1.0
    assert likeness_of_any([], "going up") == 0.0


def test_answers_and_decoys_are_picked_apart_and_none_twice() -> None:
    phrases = [Phrase(w, "it" if n < 5 else "") for n, w in enumerate(WORDINGS)]
    like = {p.text: n / 10 for n, p in enumerate(phrases)}
    found = nearest(phrases, like, (3, 1))
    assert [p.text for p in found] == [WORDINGS[4], WORDINGS[3], WORDINGS[2], WORDINGS[6]]
    assert len(nearest(phrases, like, (64, 20))) == len(WORDINGS)
