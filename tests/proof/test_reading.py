"""The reading grade, against Kincaid's own formula worked by hand and the CMU dictionary."""

import re

import pytest
import syllapy

from prompter.flow.table import build
from prompter.proof.reading import grade, syllables
from prompter.proof.variants import open_variant


def test_the_grade_is_kincaids():
    """0.39 x words / sentences + 11.8 x syllables / words - 15.59 (REFERENCES), by hand: 6 words, 6 syllables, 1 sentence."""
    assert grade("The cat sat on the mat.") == pytest.approx(0.39 * 6 + 11.8 - 15.59)
    assert grade("The cat sat. It sat on the open window.") == pytest.approx(0.39 * 9 / 2 + 11.8 * 11 / 9 - 15.59)
    assert grade("") == 0.0
    assert grade("Suction now. Depth: 9 centimetres.") == grade("Suction now. Depth: five centimetres.")


def test_syllables_are_those_of_the_dictionary(flow):
    """The CMU dictionary as `syllapy` carries it; it lacks some words and counts "blocked" as two."""
    texts = build(flow, open_variant("child")).texts()
    words = {w.lower().removesuffix("'s") for text in texts for w in re.findall(r"[A-Za-z']+", text)}
    differ = [w for w in words if syllables(w) != max(1, syllapy.count(w))]
    assert len(words) > 200 and len(differ) <= 0.04 * len(words), differ


@pytest.mark.parametrize(("word", "count"), [("note", 1), ("table", 2), ("metres", 2), ("blocked", 1), ("wanted", 2), ("pushes", 2), ("movement", 2), ("oxygen", 3), ("catheter", 3), ("tie", 1), ("highest", 2), ("the", 1), ("hissing", 2), ("trying", 2)])  # fmt: skip
def test_spelling_tells_syllables(word, count):
    """Counted by speaking them (common practice, no source)."""
    assert syllables(word) == count


def test_hard_words_read_harder():
    assert grade("Initiate ventilation immediately.") > 6 > grade("Bag on. Squeeze with me.")
