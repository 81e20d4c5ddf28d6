"""With a microphone that hears the loudspeaker as loud as the mouth: it does not answer itself, and is answered over.

Through virtual sound devices, in real time: their clocks, bursts and latencies, but no room's echo.
"""

import contextlib
import time
from pathlib import Path
from typing import Any

import pytest

WORDS = 6
"""Of a prompt that is spoken over: two seconds, long enough for somebody to begin in it."""


@pytest.mark.alone
@pytest.mark.timeout(240)
def test_an_answer_over_a_prompt_is_taken_and_its_own_voice_is_not(
    sound_server: Any, tmp_path: Path, ready_home: Path, plan_file: Path, helper: Any
) -> None:
    caregivers = helper("caregiver")
    sound_server.let_microphone_hear("room")
    caregiver = caregivers.Caregiver(sound_server)
    program = caregivers.Respond(tmp_path, sound_server.environment, "--plan", str(plan_file))
    try:
        program.hears()
        deaf = len(program.events())
        # It asks, waits, asks again: some ten seconds of its own voice, and nobody answers.
        program.wait_for(lambda events: _ended(events) >= 5 and _ended(events[deaf:]) >= 4, 60)
        own = [e for e in program.events() if e["kind"] == "heard"]
        assert not any(e["believed"] for e in own), own
        taken, before = _over_a_prompt(program, caregiver, tries=3)
        assert taken, [e for e in program.events()[before:] if e["kind"] in ("heard", "prompt cut", "speech started")]
        assert program.close() == 0
    finally:
        program.process.kill()
    spoken = [e for e in program.events() if e["kind"] in ("answered", "numbered") and e["how"] == "spoken"]
    assert {e["answer"] for e in spoken} <= {"bleeding"}, spoken


def _ended(events: list[dict[str, Any]]) -> int:
    return sum(e["kind"] == "prompt ended" for e in events)


def _over_a_prompt(program: Any, caregiver: Any, tries: int) -> tuple[bool, int]:
    """Says what may be said anywhere while a prompt sounds; whether it cut it and was taken. What was
    begun after the prompt had ended (a busy machine is late) is no try."""
    before, tried = 0, 0
    end = time.monotonic() + 120
    while tried < tries and time.monotonic() < end:
        before = len(program.events())
        events = program.wait_for(lambda events, n=before: _long_prompt(events[n:], events), 60)
        caregiver.say("it's bleeding", after_s=0.1)
        began = program.events()
        with contextlib.suppress(AssertionError):  # not heard at all is not taken
            events = program.wait_for(lambda events, n=before: any(e["kind"] == "heard" for e in events[n:]), 10)
        cut = any(e["kind"] == "prompt cut" for e in events[before:])
        if cut and any(e["kind"] == "heard" and e["believed"] and e["answer"] == "bleeding" for e in events[before:]):
            return True, before
        tried += cut or _ended(began[before:]) == 0
    return False, before


def _long_prompt(new: list[dict[str, Any]], events: list[dict[str, Any]]) -> bool:
    """Whether one has just begun that is long enough to be spoken over."""
    texts = {e["cue"]: e["text"] for e in events if e["kind"] == "say"}
    begun = [e["cue"] for e in new if e["kind"] == "prompt started"]
    over = {e["cue"] for e in new if e["kind"] == "prompt ended"}
    return any(cue not in over and len(texts.get(cue, "").split()) >= WORDS for cue in begun)
