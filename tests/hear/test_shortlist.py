"""Which wordings are worth scoring, given a garbled free decode."""

import pytest

from prompter.events import Phrase
from prompter.flow.reading import load_flow
from prompter.hear.decoys import DECOYS
from prompter.hear.negation import denials
from prompter.hear.shortlist import Shortlist, likeness, plain_words, sounds_of
from prompter.resources import flow_file

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
    assert said in [p.text for p in Shortlist(phrases, [heard]).nearest((3, 0))]


def test_the_nearest_of_several_decodes_counts() -> None:
    near = Shortlist([Phrase("going up", "it")], ["mm", "Going up."])
    assert near.like("going up") == 1.0
    assert Shortlist([], []).like("going up") == 0.0


def test_answers_and_decoys_are_picked_apart_and_none_twice() -> None:
    phrases = [Phrase(w, "it" if n < 5 else "") for n, w in enumerate(WORDINGS)]
    near = Shortlist(phrases, ["won't stick going up, no phone"])
    found = near.nearest((3, 1))
    assert [bool(p.answer) for p in found] == [True, True, True, False]
    assert found[0].text == "going up" and found[3].text == "no phone"
    assert sorted(p.text for p in near.nearest((64, 20))) == sorted(WORDINGS)


@pytest.mark.parametrize(
    "texts",
    [
        ["Take again.", "Take it again", "say again", "Tech again", "Takagin"],
        ["It's in the neck.", "it isn't in"],
        ["95%", "95% percent"],
        ["response response response", ""],
        ["Was glaubst du, Überdruck?"],
        [""],
        [],
    ],
)
@pytest.mark.parametrize("keep", [(8, 4), (48, 14), (3, 0), (5_000, 5_000)])
def test_the_nearest_are_those_that_comparing_all_exactly_gives(
    texts: list[str], keep: tuple[int, int]
) -> None:
    phrases = everything_known()
    like = {p.text: max((likeness(t, p.text) for t in texts), default=0.0) for p in phrases}
    best = sorted(phrases, key=lambda p: -like[p.text])
    answers, decoys = [p for p in best if p.answer], [p for p in best if not p.answer]
    near = Shortlist(phrases, texts)
    assert near.nearest(keep) == [*answers[: keep[0]], *decoys[: keep[1]]]
    assert all(near.like(p.text) == like[p.text] for p in phrases)


def everything_known() -> list[Phrase]:
    flow = load_flow(flow_file("breathing-trouble"))
    answers = [Phrase(w, name) for name, a in flow.answers.items() for w in a.wordings]
    denied = dict.fromkeys(form for p in answers for form in denials(p.text))
    return [*answers, *(Phrase(text, "") for text in [*DECOYS, *denied])]
