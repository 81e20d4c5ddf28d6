"""How much memory listening takes: a process of its own that holds one ear and one flow, no more."""

import resource
import sys
from pathlib import Path

import numpy as np
from sounds import REPORT_VOICES, in_surroundings, say

from prompter import limits
from prompter.care.plan import load_plan
from prompter.flow.reading import load_flow
from prompter.flow.table import Variant, build
from prompter.hear.ears import embedded_ear
from prompter.hear.endpoint import BLOCK_MS
from prompter.hear.hearing import Hearing
from prompter.hear.scorer import InlineScorer
from prompter.resources import flow_file, shared_file


def memory_mb(cache: Path, utterances: int = 120) -> tuple[int, int, int]:
    """Most memory in MB: before an ear is loaded, when it is ready, after so many utterances."""
    plan = load_plan(shared_file("demo-plan.yaml"))
    variant = Variant(plan.facts(), plan.spoken(), plan.numbers())
    table = build(load_flow(flow_file("breathing-trouble")), variant)
    before_mb = _most_mb()
    ear = embedded_ear(cache)
    hearing = Hearing([ear], InlineScorer(), table.all_phrases)
    hearing.prepare()
    ready_mb, at_ms = _most_mb(), 0
    steps = [name for name, stand in table.stands.items() if stand.own_answers]
    for number in range(utterances):
        step = steps[number % len(steps)]
        phrases = table.phrases(step)
        hearing.expect(phrases, "number fine" in table.stands[step].own_answers)
        text = phrases[number * 7 % len(phrases)].text
        clip = say(text, REPORT_VOICES[number % len(REPORT_VOICES)])
        sound = in_surroundings(clip, None, 0, number).sound
        whole = len(sound) // limits.BLOCK_SAMPLES * limits.BLOCK_SAMPLES
        for block in sound[:whole].astype(np.float32).reshape(-1, limits.BLOCK_SAMPLES):
            at_ms += BLOCK_MS
            hearing.push(block, at_ms)
    return before_mb, ready_mb, _most_mb()


def _most_mb() -> int:
    status = Path("/proc/self/status")
    if status.exists():  # Linux counts what the parent had into ru_maxrss
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return round(int(line.split()[1]) / 1024)
    unit = 1024 * 1024 if sys.platform == "darwin" else 1024
    return round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit)
