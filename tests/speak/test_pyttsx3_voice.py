"""The prompter's own voice: pyttsx3 really speaks, whatever it does harms nobody, and has a stand-in."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from prompter import limits
from prompter.errors import CannotDo
from prompter.speak import engine_library, own_voice, pyttsx3_voice
from prompter.speak.clips import ClipStore
from prompter.speak.own_voice import prompter_voice
from prompter.speak.pyttsx3_voice import Pyttsx3Voice
from prompter.speak.voice import EspeakVoice

SENTENCES = (
    "Is the chest going up?",
    "Suction now. Depth: eleven centimetres.",
    "Push the chest with me.",
    "For the operator: breathes through a tube in the neck.",
)

Fake = Callable[[str], None]


@pytest.fixture
def fake_pyttsx3(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Fake:
    """Puts another package in pyttsx3's place, in the voice's process only."""

    def put(engine: str) -> None:
        drivers = tmp_path / "pyttsx3" / "drivers"
        drivers.mkdir(parents=True)
        for module in (drivers / "__init__.py", drivers / "_espeak.py", drivers / "espeak.py"):
            module.write_text("")
        (tmp_path / "pyttsx3" / "__init__.py").write_text(
            "import os, time\n"
            "from types import SimpleNamespace\n"
            "def init(name):\n"
            "    return Engine()\n"
            "class Engine:\n"
            "    proxy = SimpleNamespace(setBusy=lambda busy: None)\n"
            "    def connect(self, topic, call): pass\n"
            "    def setProperty(self, name, value): pass\n"
            "    def save_to_file(self, text, file): self.file = file\n"
            f"    def runAndWait(self): {engine}\n"
        )
        paths = [str(tmp_path), *filter(None, [os.environ.get("PYTHONPATH")])]
        monkeypatch.setenv("PYTHONPATH", os.pathsep.join(paths))

    return put


@pytest.mark.parametrize("text", SENTENCES)
@pytest.mark.parametrize("settings", [("en-us", 160, 50), ("en-gb+m7", 200, 70)])
def test_pyttsx3_gives_the_same_samples_as_the_direct_binding(
    settings: tuple[str, int, int], text: str
) -> None:
    clip = Pyttsx3Voice(*settings).render(text)
    assert clip.dtype == np.float32 and clip.ndim == 1
    assert len(text.split()) / 6 < len(clip) / limits.MIX_RATE_HZ < len(text.split()) / 2 + 1
    loud = np.flatnonzero(np.abs(clip) > np.abs(clip).max() * 0.01)
    assert loud[0] < 0.015 * limits.MIX_RATE_HZ
    assert len(clip) - loud[-1] < 0.015 * limits.MIX_RATE_HZ
    assert np.array_equal(clip, EspeakVoice(*settings).render(text))


def test_no_sentence_is_cut_or_hurried_whatever_was_spoken_before() -> None:
    voice = Pyttsx3Voice()
    clips = [voice.render(text) for text in SENTENCES]
    for again in (SENTENCES[::-1], SENTENCES, SENTENCES[::-1]) * 4:
        for text in again:
            assert np.array_equal(voice.render(text), clips[SENTENCES.index(text)])


def test_name_and_version_say_how_it_sounds() -> None:
    from importlib import metadata

    voice = Pyttsx3Voice("en-gb", 150, 60)
    assert voice.name == "pyttsx3 en-gb 150 wpm pitch 60"
    assert f"pyttsx3 {metadata.version('pyttsx3')}" in voice.version
    assert "espeak-ng 1." in voice.version and "trim" in voice.version
    assert voice.version != EspeakVoice().version


def test_nothing_is_printed_nothing_left_and_only_our_engine_is_loaded(tmp_path: Path) -> None:
    program = (
        "import os, sys\n"
        "from prompter.speak.pyttsx3_voice import Pyttsx3Voice\n"
        "voice = Pyttsx3Voice()\n"
        "voice.render('Is the chest going up?')\n"
        "assert not [name for name in sys.modules if name.startswith('pyttsx3')]\n"
        "print(voice._process.pid, os.getpid())\n"
        "if sys.platform == 'linux':\n"
        "    import time; time.sleep(0.5)  # the next sentence's engine is loaded by then\n"
        "    for process in (voice._process.pid, os.getpid()):\n"
        "        maps = open(f'/proc/{process}/maps').read().split()\n"
        "        print(*sorted({part for part in maps if 'espeak' in part}), sep='\\n')\n"
    )
    environment = {**os.environ, "TMPDIR": str(tmp_path)}
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, check=True, env=environment
    )
    assert ran.stderr == b"" and not list(tmp_path.iterdir())
    first, *mapped = ran.stdout.decode().splitlines()
    if sys.platform == "linux":
        # Loaded in the voice's process, and the line of this process is empty.
        assert mapped == [os.path.realpath(engine_library.places()[0]), ""]
        assert not Path("/proc", first.split()[0]).exists(), "it ends with the prompter"


def test_threads_take_turns() -> None:
    voice, alone = Pyttsx3Voice(), [EspeakVoice().render(text) for text in SENTENCES]
    got: dict[int, list[np.ndarray]] = {}

    def work(number: int) -> None:
        got[number] = [voice.render(text) for text in SENTENCES]

    threads = [threading.Thread(target=work, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(got) == 4
    for clips in got.values():
        assert all(np.array_equal(a, b) for a, b in zip(clips, alone, strict=True))


@pytest.mark.parametrize("text", ["", "   ", "...", "\0"])
def test_a_text_without_words_cannot_be_spoken_and_harms_nothing(text: str) -> None:
    voice = Pyttsx3Voice()
    with pytest.raises(CannotDo, match="nothing to speak"):
        voice.render(text)
    assert len(voice.render("Bag off.")) > 0


def test_odd_characters_neither_crash_nor_act() -> None:
    voice, plain = Pyttsx3Voice(), EspeakVoice()
    for text in ("It's <b>off</b> & [[stop]]", "Zoë: bag off.", "a\0b", "☎ 5", "a\ud800b", "a\nb"):
        assert np.array_equal(voice.render(text), plain.render(text))


def test_unknown_voices_and_settings_out_of_range_are_refused() -> None:
    for settings in (("nobody", 160, 50), ("en-us", 20, 50), ("en-us", 160, 101)):
        with pytest.raises(CannotDo):
            Pyttsx3Voice(*settings)


def test_a_voice_that_pyttsx3_refuses_is_not_spoken_with_another() -> None:
    voice = Pyttsx3Voice()
    voice._settings[0] = "nobody"
    with pytest.raises(CannotDo):
        voice.render("Bag off.")


def test_a_hanging_engine_is_given_up_in_time(
    fake_pyttsx3: Fake, monkeypatch: pytest.MonkeyPatch
) -> None:
    fake_pyttsx3("time.sleep(60)")
    monkeypatch.setattr(limits, "VOICE_HANGS_S", 0.3)
    voice = Pyttsx3Voice()
    began = time.monotonic()
    with pytest.raises(CannotDo) as caught:
        voice.render("Bag off.")
    assert 0.3 <= time.monotonic() - began < 3
    assert "\n" not in str(caught.value) and "pyttsx3" in str(caught.value)
    process = voice._process
    assert process is not None and process.returncode is not None, "its process is ended"
    monkeypatch.setattr(voice, "_start", lambda: pytest.fail("tried again"))
    with pytest.raises(CannotDo):
        voice.render("Bag off.")


@pytest.mark.parametrize("engine", ["os._exit(1)", "raise OSError('broken')", "pass"])
def test_a_failing_engine_has_a_stand_in(fake_pyttsx3: Fake, engine: str) -> None:
    fake_pyttsx3(engine)
    with pytest.raises(CannotDo) as caught:
        Pyttsx3Voice().render("Bag off.")
    assert "\n" not in str(caught.value) and "pyttsx3" in str(caught.value)
    voice = prompter_voice()
    assert voice.name.startswith("pyttsx3")
    for text in SENTENCES:
        assert np.array_equal(voice.render(text), EspeakVoice().render(text))
    assert voice.trouble  # type: ignore[attr-defined]


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_killed_process_has_a_stand_in_and_a_stopped_one_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(limits, "VOICE_HANGS_S", 0.5)
    for how in (signal.SIGKILL, signal.SIGSTOP):
        own = Pyttsx3Voice()
        monkeypatch.setattr(own_voice, "Pyttsx3Voice", lambda own=own: own)
        voice = prompter_voice()
        monkeypatch.setattr(limits, "VOICE_HANGS_S", 30.0)  # a busy computer starts it slowly
        voice.render(SENTENCES[0])
        assert voice.trouble == "" and own._process is not None  # type: ignore[attr-defined]
        monkeypatch.setattr(limits, "VOICE_HANGS_S", 0.5)
        os.kill(own._process.pid, how)
        assert np.array_equal(voice.render(SENTENCES[1]), EspeakVoice().render(SENTENCES[1]))
        assert voice.trouble  # type: ignore[attr-defined]


def test_an_interrupted_sentence_is_never_spoken_for_the_next(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    voice = Pyttsx3Voice()
    voice.render(SENTENCES[0])
    whole = pyttsx3_voice.json.loads

    def interrupted(_: bytes) -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr(pyttsx3_voice.json, "loads", interrupted)
    with pytest.raises(KeyboardInterrupt):
        voice.render(SENTENCES[1])
    monkeypatch.setattr(pyttsx3_voice.json, "loads", whole)
    with pytest.raises(CannotDo):
        voice.render(SENTENCES[2])


def test_the_prompter_speaks_with_pyttsx3() -> None:
    voice = prompter_voice()
    assert voice.name == Pyttsx3Voice().name and voice.version == Pyttsx3Voice().version
    assert len(voice.render("Bag off.")) > 0
    assert voice.trouble == ""  # type: ignore[attr-defined]


def test_without_pyttsx3_the_direct_binding_is_the_voice(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(_: str) -> str:
        raise pyttsx3_voice.metadata.PackageNotFoundError("pyttsx3")

    monkeypatch.setattr(pyttsx3_voice.metadata, "version", missing)
    with pytest.raises(CannotDo, match="not installed"):
        Pyttsx3Voice()
    assert isinstance(prompter_voice(), EspeakVoice)


def test_without_the_engine_there_is_no_voice(monkeypatch: pytest.MonkeyPatch) -> None:
    import espeakng_loader

    monkeypatch.setattr(espeakng_loader, "get_library_path", lambda: "/nowhere/libespeak-ng.so")
    engine_library.places.cache_clear()
    try:
        with pytest.raises(CannotDo, match="espeakng-loader"):
            prompter_voice()
    finally:
        engine_library.places.cache_clear()


def test_clips_are_kept_under_its_name_and_several_processes_may_make_them(tmp_path: Path) -> None:
    program = (
        "import sys\n"
        "from pathlib import Path\n"
        "from prompter.speak.clips import ClipStore\n"
        "from prompter.speak.own_voice import prompter_voice\n"
        "voice = prompter_voice()\n"
        "missing = ClipStore(Path(sys.argv[1]), voice).prepare(sys.argv[2:])\n"
        "assert not missing and not voice.trouble, (missing, voice.trouble)\n"
    )
    command = [sys.executable, "-c", program, str(tmp_path), *SENTENCES]
    running = [subprocess.Popen(command, stdout=-1, stderr=-1) for _ in range(2)]
    for process in running:
        assert process.communicate() == (b"", b"") and process.returncode == 0
    assert len(list(tmp_path.iterdir())) == len(SENTENCES)
    store = ClipStore(tmp_path, prompter_voice())
    assert not store.missing(SENTENCES)
    clip = store.clip(SENTENCES[0])
    assert clip is not None and np.array_equal(clip, EspeakVoice().render(SENTENCES[0]))
