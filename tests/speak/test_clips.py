"""The clip store: rendered once, damaged files rendered again, several processes at once."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from prompter import limits
from prompter.errors import CannotDo
from prompter.speak.clips import ClipStore
from prompter.speak.voice import EspeakVoice

TEXTS = ["Bag off.", "Bag on. Keep squeezing with me.", "Is the chest going up?"]


class CountingVoice:
    """The real engine behind a counter."""

    def __init__(self, name: str = "en-us") -> None:
        self._voice = EspeakVoice(name)
        self.name, self.version = self._voice.name, self._voice.version
        self.renders = 0

    def render(self, text: str) -> np.ndarray:
        self.renders += 1
        return self._voice.render(text)


class DeadVoice:
    name, version = "dead", "0"

    def render(self, text: str) -> np.ndarray:
        raise CannotDo("the voice failed.")


def test_the_second_time_the_engine_is_not_called(tmp_path: Path) -> None:
    voice = CountingVoice()
    steps: list[tuple[int, int]] = []
    store = ClipStore(tmp_path / "clips", voice)
    assert store.missing(TEXTS) == TEXTS
    done = store.prepare([*TEXTS, TEXTS[0]], progress=lambda *step: steps.append(step))
    assert done == [] and voice.renders == 3
    assert steps == [(1, 3), (2, 3), (3, 3)]
    assert store.missing(TEXTS) == []
    again = ClipStore(tmp_path / "clips", voice)
    assert again.missing(TEXTS) == [] and again.prepare(TEXTS) == []
    assert voice.renders == 3
    for text in TEXTS:
        one, two = store.clip(text), again.clip(text)
        assert one is not None and two is not None and one.dtype == two.dtype == np.float32
        assert np.array_equal(one, two), "a clip from disk is the one that was rendered"
        assert np.array_equal(one, EspeakVoice("en-us").render(text))


@pytest.mark.parametrize(
    "damage",
    [
        lambda data: b"",
        lambda data: b"not a sound",
        lambda data: data[: len(data) // 2],
        lambda data: (
            data[: len(data) // 2] + bytes([data[len(data) // 2] ^ 4]) + data[len(data) // 2 + 1 :]
        ),
        lambda data: data[:-40] + bytes(40),
    ],
    ids=["empty", "foreign", "cut", "bit", "zeroed tail"],
)
def test_a_damaged_file_is_rendered_again(tmp_path: Path, damage) -> None:  # type: ignore[no-untyped-def]
    voice = CountingVoice()
    ClipStore(tmp_path, voice).prepare(TEXTS[:1])
    (file,) = tmp_path.iterdir()
    whole = file.read_bytes()
    file.write_bytes(damage(whole))
    store = ClipStore(tmp_path, voice)
    assert store.missing(TEXTS[:1]) == TEXTS[:1]
    clip = store.clip(TEXTS[0])
    assert clip is not None and np.array_equal(clip, EspeakVoice("en-us").render(TEXTS[0]))
    assert voice.renders == 2
    assert file.read_bytes() == whole, "and the file is mended"


def test_voices_do_not_share_clips(tmp_path: Path) -> None:
    one, other = CountingVoice("en-us"), CountingVoice("en-us+f3")
    ClipStore(tmp_path, one).prepare(TEXTS)
    ClipStore(tmp_path, other).prepare(TEXTS)
    assert (one.renders, other.renders) == (3, 3)
    newer = CountingVoice("en-us")
    newer.version += " and later"
    ClipStore(tmp_path, newer).prepare(TEXTS)
    assert newer.renders == 3


def test_without_a_voice_any_earlier_clip_is_better_than_silence(tmp_path: Path) -> None:
    ClipStore(tmp_path, CountingVoice("en-gb")).prepare(TEXTS[:2])
    for voice in (None, DeadVoice()):
        store = ClipStore(tmp_path, voice)
        clip = store.clip(TEXTS[0])
        assert clip is not None and np.array_equal(clip, EspeakVoice("en-gb").render(TEXTS[0]))
        assert store.clip(TEXTS[2]) is None
        assert store.prepare(TEXTS) == [TEXTS[2]]


def test_a_folder_that_cannot_be_written_costs_only_the_file(tmp_path: Path) -> None:
    blocked = tmp_path / "a file where the folder should be"
    blocked.write_text("")
    store = ClipStore(blocked / "clips", CountingVoice())
    clip = store.clip(TEXTS[0])
    assert clip is not None and len(clip) > 0.2 * limits.MIX_RATE_HZ
    assert blocked.read_text() == ""


def test_a_clip_cannot_be_changed_by_who_plays_it(tmp_path: Path) -> None:
    clip = ClipStore(tmp_path, CountingVoice()).clip(TEXTS[0])
    assert clip is not None
    with pytest.raises(ValueError, match="read-only"):
        clip[0] = 1


def test_two_processes_at_once_leave_whole_files(tmp_path: Path) -> None:
    program = (
        "import sys\nfrom pathlib import Path\n"
        "from prompter.speak.clips import ClipStore\n"
        "from prompter.speak.voice import EspeakVoice\n"
        "store = ClipStore(Path(sys.argv[1]), EspeakVoice('en-us'))\n"
        "texts = [f'Saline in the tube: {ml} millilitres.' for ml in range(40)]\n"
        "print(store.prepare(texts))\n"
    )
    both = [
        subprocess.Popen([sys.executable, "-c", program, tmp_path], stdout=subprocess.PIPE)
        for _ in range(2)
    ]
    assert [process.communicate()[0] for process in both] == [b"[]\n"] * 2
    assert len(list(tmp_path.iterdir())) == 40, "no unfinished file is left"
    voice = CountingVoice()
    texts = [f"Saline in the tube: {ml} millilitres." for ml in range(40)]
    assert ClipStore(tmp_path, voice).missing(texts) == []
    assert voice.renders == 0
