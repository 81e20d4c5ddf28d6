"""Forms of a wording with a 'not' lost or added."""

import pytest

from prompter.hear.negation import changed, negated


def forms(wording: str, change: str) -> list[str]:
    return [c.text for c in changed(wording) if c.change == change]


@pytest.mark.parametrize(
    ("wording", "lost"),
    [
        ("no rise", "rise"), ("not breathing", "breathing"), ("won't pass", "pass"),
        ("won't pass", "will pass"), ("it will not go in", "it will go in"),
        ("can't get it down", "can get it down"), ("nothing on it", "something on it"),
        ("machine's not working", "machine's working"), ("nothing coming", "something coming"),
    ],
)  # fmt: skip
def test_a_denial_lost(wording, lost):
    assert lost in forms(wording, "lost")
    assert not forms(wording, "added"), "what is denied already is not denied again"


@pytest.mark.parametrize(
    ("wording", "added"),
    [
        ("going up", "not going up"), ("going up", "isn't going up"), ("chest rising", "chest isn't rising"),
        ("it's rising", "it's not rising"), ("it's rising", "it isn't rising"), ("it went in", "it didn't go in"),
        ("they have taken over", "they haven't taken over"), ("eyes open", "eyes aren't open"),
        ("looks fine", "doesn't look fine"), ("they're bagging", "they aren't bagging"),
        ("paramedics are here", "paramedics are not here"), ("I'm alone", "i'm not alone"),
    ],
)  # fmt: skip
def test_a_denial_added(wording, added):
    assert added in forms(wording, "added")


def test_nothing_at_the_end_denies_nothing():
    assert changed("limp, nothing") == ()


def test_an_answer_after_a_no():
    assert forms("still struggling", "answered no") == ["no still struggling"]


@pytest.mark.parametrize("wording", ["going up", "it's in", "no rise", "they have taken over", "kicking", "won't pass"])
def test_every_form_is_another_text(wording):
    found = changed(wording)
    assert found and len({c.text for c in found}) == len(found)
    for form in found:
        assert form.text != wording and form.text.strip()
        assert negated(form.text) != negated(wording) or form.change == "lost"
