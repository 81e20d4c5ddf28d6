"""The second model for real, against what its makers give."""

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest

from prompter.events import Phrase
from prompter.hear.clip import read_clip
from prompter.hear.ears import embedded_ear
from prompter.hear.models.known import MOONSHINE_FILES
from prompter.hear.models.verified import differs
from prompter.hear.shortlist import plain_words

moonshine_voice = importlib.util.find_spec("moonshine_voice")
if moonshine_voice is None:
    pytest.skip("moonshine-voice is not there for this system", allow_module_level=True)

from prompter.hear.moonshine_model import MoonshineModel  # noqa: E402

ASSETS = Path(moonshine_voice.origin).parent / "assets"


@pytest.fixture(scope="module")
def model() -> MoonshineModel:
    return MoonshineModel(ASSETS / "tiny-en", threads=1)


def test_the_packaged_weights_are_the_pinned_ones() -> None:
    assert differs(ASSETS / "tiny-en", MOONSHINE_FILES) == ""


@pytest.mark.parametrize(
    ("wording", "ids"),
    [
        ('chest flat', [678, 342, 12151, 29889]),
        ("it's bleeding", [739, 29915, 29879, 10767, 21219, 29889]),
        ('oxygen eighty eight', [438, 28596, 9475, 29891, 9475, 29889]),
        ("won't pass", [399, 265, 29915, 29873, 1209, 29889]),
        ('still struggling', [12074, 20042, 29889]),
        ('phone on speaker', [24323, 373, 25657, 29889]),
        ('paramedics are here', [1459, 2795, 1199, 526, 1244, 29889]),
        ('naïve 漢字 95%', [4465, 30085, 345, 29871, 31652, 30578, 29871, 29929, 29945, 15543]),
    ],
)
def test_words_are_spelled_as_its_makers_spell_them(model, wording, ids) -> None:
    """By tokenizer.json of the makers' own package useful-moonshine-onnx 20251121, which is not needed here."""
    assert model._token_ids(wording) == [*ids, 2]


def test_its_makers_recording_is_understood(model) -> None:
    """beckett.wav, which comes with it: S. Beckett, "Worstward Ho" (1983), read aloud."""
    text, mean = model.decode(model.encode(read_clip(ASSETS / "beckett.wav")))
    assert plain_words(text) == "ever tried ever failed no matter try again fail again fail better"
    assert -0.5 < mean < 0


def test_a_wording_is_about_as_likely_in_a_batch_as_alone(model, spoken) -> None:
    """Not to the bit: its eight-bit arithmetic takes one scale for the whole batch."""
    heard = model.encode(spoken("chest flat"))
    wordings = ["no", "chest flat", "the chest is going up and down again", "no rise", "chest flat"]
    together = model.likely(heard, wordings)
    assert together[1] == together[4]
    for wording, found in zip(wordings, together, strict=True):
        (alone,) = model.likely(heard, [wording])
        assert (alone.tokens, alone.mean) == (found.tokens, pytest.approx(found.mean, abs=0.3))
        assert found.least <= found.mean < 0


def test_what_was_decoded_is_the_likeliest(model, spoken) -> None:
    """The mean of the free decode is what the same words are given when they are asked for."""
    heard = model.encode(spoken("the tube is out"))
    text, mean = model.decode(heard)
    (found,) = model.likely(heard, [text])
    assert found.mean == pytest.approx(mean, abs=0.1)
    assert all(other.total < found.total for other in model.likely(heard, ["the tube is in", "no", "done"]))


@pytest.mark.parametrize("samples", [1, 200, 16_000 * 31])
def test_any_length_is_taken(model, samples) -> None:
    heard = model.encode(np.zeros(samples, np.float32))
    (found,) = model.likely(heard, ["chest flat"])
    assert math.isfinite(found.total)


@pytest.mark.parametrize("text", ["naïve", "漢字", "95%", ""])
def test_any_text_can_be_asked_for(model, text) -> None:
    (found,) = model.likely(model.encode(np.zeros(8_000, np.float32)), [text])
    assert found.tokens >= 2 and math.isfinite(found.total)


def test_the_programs_ear_has_it(spoken) -> None:
    ear = embedded_ear()
    ranking = ear.score(spoken("chest flat"), [Phrase("chest flat", "flat"), Phrase("going up", "rising")])
    assert ranking.names == ("whisper", "moonshine") and ranking.ranked[0][0].answer == "flat"
    assert ranking.besides.evidence["chest flat"] > ranking.besides.evidence["going up"]
    closer = ranking.closer()  # by both, the second at other speeds as well
    assert closer.names == ("whisper", "moonshine") and closer.ranked[0][0].answer == "flat" and closer.closer is None
    assert dict((p.text, s) for p, s in closer.ranked) != dict((p.text, s) for p, s in ranking.ranked)
