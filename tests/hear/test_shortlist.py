"""Which wordings are worth scoring, given a garbled free decode."""

import pytest

from prompter.hear.shortlist import likeness, plain_words, shortlist, sounds_of

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
    assert said in [WORDINGS[i] for i in shortlist(heard, WORDINGS, 3)]


def test_no_more_than_asked_for_and_none_twice() -> None:
    found = shortlist("", WORDINGS, 4)
    assert len(found) == 4 == len(set(found))
