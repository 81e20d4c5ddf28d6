"""The second model beside the first: asked along, and done without once it fails."""

import threading
import time

import numpy as np
import pytest
from hearing_parts import PHRASES

from prompter import limits
from prompter.hear.beside import Lost, SecondModel, _at_speed
from prompter.hear.ears import embedded_ear
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.hear.hearing import competing, rivals_of
from prompter.hear.likely import Likely
from prompter.hear.panel import Panel


class ScriptedModel:
    """Likes every wording alike; raises or hangs where it is told to."""

    name = "moonshine scripted"

    def __init__(self, fails_in: str = "", hangs: threading.Event | None = None) -> None:
        self.fails_in, self.hangs = fails_in, hangs
        self.threads: set[str] = set()

    def _at(self, place: str) -> None:
        self.threads.add(threading.current_thread().name)
        if place == self.fails_in:
            if self.hangs is None:
                raise RuntimeError("out of memory")
            self.hangs.wait(20)

    def encode(self, sound):
        self._at("encode")
        return sound

    def decode(self, heard):
        self._at("decode")
        return "chest flat", -0.1

    def likely(self, heard, wordings):
        self._at("likely")
        return [Likely(-2.0, 2, -1.0) for _ in wordings]


def beside(model: ScriptedModel, hangs_s: float = 5.0) -> SecondModel:
    second = SecondModel(hangs_s=hangs_s)
    second._model = model
    return second


def ear_with(model: ScriptedModel, whisper: EmbeddedEar, hangs_s: float = 5.0) -> EmbeddedEar:
    """An ear that shares the loaded first model."""
    ear = EmbeddedEar(second=beside(model, hangs_s))
    ear._model, ear._silent = whisper._model, whisper._silent
    return ear


def test_it_computes_on_its_own_thread_while_the_caller_does_something_else() -> None:
    model = ScriptedModel("encode", hangs=threading.Event())
    listening = beside(model).listen(np.zeros(100, np.float32))
    asked = listening.ask(["chest flat"])  # nothing has been waited for
    model.hangs.set()
    assert listening.freely() == ("chest flat", -0.1)
    (other,) = asked()
    assert other.heard.mean == -1.0 and other.like == 1.0
    assert model.threads == {"second model"}


def test_it_listens_again_at_other_speeds() -> None:
    """Twice: to the sound drawn out and hurried; what both give is averaged."""

    class Counting(ScriptedModel):
        def likely(self, heard, wordings):
            return [Likely(-len(heard) * len(w), 1, -1.0) for w in wordings]

    sound = np.sin(np.arange(8_600) / 20).astype(np.float32)
    (mean,) = beside(Counting()).listen(sound).again(["x"])()
    slower, faster = 8_600 / 0.86, int(8_600 / 1.1)
    assert mean == -(slower + faster) / 2


def test_said_faster_is_shorter_and_higher_and_as_loud() -> None:
    """A tone of 440 Hz, 16 kHz: 484 Hz at 1.1."""
    tone = np.sin(2 * np.pi * 440 * np.arange(16_000) / 16_000).astype(np.float32)
    faster = _at_speed(tone, 1.1)
    spectrum = np.abs(np.fft.rfft(faster * np.hanning(len(faster))))
    assert len(faster) == 14_545 and faster.dtype == np.float32
    assert spectrum.argmax() * 16_000 / len(faster) == pytest.approx(484, abs=1.5)
    assert np.sqrt(np.mean(faster**2)) == pytest.approx(np.sqrt(0.5), rel=0.02)


@pytest.mark.parametrize("place", ["encode", "decode", "likely"])
def test_one_that_fails_is_lost_with_the_reason_in_one_line(place: str) -> None:
    listening = beside(ScriptedModel(place)).listen(np.zeros(100, np.float32))
    with pytest.raises(Lost, match="^RuntimeError: out of memory$"):
        listening.ask(["chest flat"])()


def test_one_that_hangs_is_not_waited_for() -> None:
    model = ScriptedModel("decode", hangs=threading.Event())
    began = time.monotonic()
    with pytest.raises(Lost, match="no answer"):
        beside(model, hangs_s=0.2).listen(np.zeros(100, np.float32)).freely()
    assert time.monotonic() - began < 5
    model.hangs.set()


def test_one_that_was_late_is_asked_again_once_it_has_answered_and_not_for_ever(whisper, spoken) -> None:
    """A computer that slept for some seconds: found when a measurement was stopped and went on."""
    allowed = competing(PHRASES, rivals_of(PHRASES))
    alone = Panel([whisper]).judge(spoken("chest flat"), allowed)
    model = ScriptedModel("decode", hangs=threading.Event())
    ear = ear_with(model, whisper, hangs_s=0.2)
    panel = Panel([ear])
    for time_late in range(1, limits.BESIDE_LATE_MOST + 1):
        model.fails_in, model.hangs = "decode", threading.Event()
        assert panel.judge(spoken("chest flat"), allowed) == alone
        assert panel.spared() == [("moonshine", "no answer in 0.2 s")]
        assert panel.judge(spoken("chest flat"), allowed) == alone and panel.spared() == [], "it has not answered yet"
        model.fails_in = ""
        model.hangs.set()
        while not (ear._late or beside(model)).idle:
            time.sleep(0.01)
        back = time_late < limits.BESIDE_LATE_MOST
        assert panel.judge(spoken("chest flat"), allowed).ears == (("whisper", "moonshine") if back else ("whisper",))
        assert panel.regained() == (["moonshine"] if back else []) and panel.spared() == []


def test_what_is_not_there_says_what_to_install(tmp_path) -> None:
    second = SecondModel(folder=tmp_path)
    ready, why = second.ready()
    assert not ready and "moonshine-voice" in why
    with pytest.raises(Lost, match="missing"):
        second.load()()


def test_changed_weights_are_noticed_and_done_without(tmp_path) -> None:
    for name in ("encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"):
        (tmp_path / name).write_bytes(b"x")
    ear = EmbeddedEar(second=SecondModel(folder=tmp_path))
    assert ear.also == ("moonshine",)
    assert ear.intact() == (True, "") and ear.also == ()
    assert "moonshine" in ear.note and "not the known" in ear.note
    broken = EmbeddedEar(second=SecondModel(folder=tmp_path))
    broken.load()
    assert broken.also == () and [name for name, _ in broken.spared()] == ["moonshine"] and broken.spared() == []


def test_on_a_system_that_has_none_the_ear_is_alone_and_says_nothing(tmp_path, spoken) -> None:
    ear = EmbeddedEar(second=SecondModel(folder=tmp_path))
    ear.load()
    assert ear.also == () and ear.spared() == [] and ear.note == ""
    verdict = Panel([ear]).judge(spoken("chest flat"), PHRASES)
    assert verdict.believed and verdict.ears == ("whisper",)


@pytest.mark.parametrize("place", ["encode", "decode", "likely"])
def test_losing_it_in_the_middle_changes_nothing_but_the_record(place, whisper, spoken) -> None:
    """The utterance that was under way is judged as by the first model alone, and so is every later one."""
    allowed = competing(PHRASES, rivals_of(PHRASES))
    alone = Panel([whisper]).judge(spoken("chest flat"), allowed)
    panel = Panel([ear_with(ScriptedModel(place), whisper)])
    assert panel.judge(spoken("chest flat"), allowed) == alone
    assert panel.spared() == [("moonshine", "RuntimeError: out of memory")]
    assert panel.trouble() == [], "nobody is told that words are not heard"
    assert panel.judge(spoken("chest flat"), allowed) == alone and panel.spared() == []


def test_losing_it_in_the_closer_look_leaves_the_first_models(whisper, spoken) -> None:
    allowed = competing(PHRASES, rivals_of(PHRASES))
    alone = whisper.score(spoken("chest flat"), allowed)
    model = ScriptedModel()
    ear = ear_with(model, whisper)
    first = ear.score(spoken("chest flat"), allowed)
    assert first.names == ("whisper", "moonshine")
    model.fails_in = "likely"
    closer = first.closer()
    assert closer.names == ("whisper",) and closer.besides is None
    assert {p.text for p, _ in closer.ranked} & {p.text for p, _ in alone.closer().ranked}
    assert len(ear.spared()) == 1 and ear.also == ()


def test_both_together_are_surer_than_one(whisper, spoken) -> None:
    """What the second is there for: the same answers, of several voices, at higher log-odds."""
    both = embedded_ear()
    if not both.also:
        pytest.skip("moonshine-voice is not there for this system")
    both.load()
    allowed = competing(PHRASES, rivals_of(PHRASES))
    rng = np.random.default_rng(1)
    gained = []
    for phrase, voice in zip(PHRASES, ("en-us", "en-gb", "en-us+f3", "en-gb-scotland+m3") * 3, strict=True):
        sound = spoken(phrase.text, voice)
        sound = sound + (rng.standard_normal(len(sound)) * 0.01).astype(np.float32)
        one, two = (Panel([ear]).judge(sound, allowed) for ear in (whisper, both))
        assert not two.believed or two.heard.answer == phrase.answer
        if one.heard == two.heard == phrase:
            gained.append(two.score - one.score)
    assert len(gained) >= 6 and np.median(gained) > 0.5


def test_one_that_hangs_while_it_is_loaded_does_not_keep_the_ear_from_joining(whisper, monkeypatch) -> None:
    monkeypatch.setattr(limits, "BESIDE_READY_S", 0.2)
    model = ScriptedModel("encode", hangs=threading.Event())
    ear = ear_with(model, whisper)
    began = time.monotonic()
    ear.prepare(PHRASES)
    assert ear.also == () and ear.spared() == [("moonshine", "no answer in 0.2 s")]
    assert time.monotonic() - began < 10
    model.hangs.set()
