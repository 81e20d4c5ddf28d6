"""With a microphone that hears the loudspeaker as loud as the mouth: it does not answer itself, and is answered over.

Through virtual sound devices, in real time: their clocks, bursts and latencies, but no room's echo.
"""

from pathlib import Path
from typing import Any

import pytest


@pytest.mark.alone
@pytest.mark.timeout(240)
def test_an_answer_over_a_prompt_is_taken_and_its_own_voice_is_not(
    sound_server: Any, tmp_path: Path, plan_file: Path, helper: Any
) -> None:
    caregivers = helper("caregiver")
    sound_server.let_microphone_hear("room")
    caregiver = caregivers.Caregiver(sound_server)
    program = caregivers.Respond(tmp_path, sound_server.environment, "--plan", str(plan_file))
    try:
        program.wait_for(lambda events: any(e["kind"] == "started" for e in events), 30)
        # It asks, waits, asks again: some ten seconds of its own voice, and nobody answers.
        program.wait_for(lambda events: sum(e["kind"] == "prompt ended" for e in events) >= 5, 60)
        own = [e for e in program.events() if e["kind"] == "heard"]
        assert not any(e["believed"] for e in own), own
        taken, before = _over_a_prompt(program, caregiver, tries=3)
        assert taken, [e for e in program.events()[before:] if e["kind"] in ("heard", "prompt cut", "speech started")]
        assert program.close() == 0
    finally:
        program.process.kill()
    spoken = [e for e in program.events() if e["kind"] in ("answered", "numbered") and e["how"] == "spoken"]
    assert {e["answer"] for e in spoken} <= {"bleeding"}, spoken


def _over_a_prompt(program: Any, caregiver: Any, tries: int) -> tuple[bool, int]:
    """Says what may be said anywhere while a prompt sounds; whether it cut it and was taken."""
    before = 0
    for _ in range(tries):
        before = len(program.events())
        program.wait_for(lambda events: any(e["kind"] == "prompt started" for e in events[before:]), 60)
        caregiver.say("it's bleeding", after_s=0.2)
        events = program.wait_for(lambda events: any(e["kind"] == "heard" for e in events[before:]), 20)
        cut = any(e["kind"] == "prompt cut" for e in events[before:])
        if cut and any(e["kind"] == "heard" and e["believed"] and e["answer"] == "bleeding" for e in events[before:]):
            return True, before
    return False, before
