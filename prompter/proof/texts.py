"""What can be read off the flow's texts without a walk: no prompt jumps, none has two actions, and who asks can be answered."""

import re

from prompter.flow.consistency import NEVER_SAID
from prompter.flow.document import Flow
from prompter.flow.table import Table
from prompter.proof.found import Walked
from prompter.proof.properties.property import Property
from prompter.proof.reading import grade

JUMPS = Property("no prompt contains a phrase that jumps", "the microphone hears the loudspeaker; a bare phrase could be obeyed")
ONE_ACTION = Property("one action a prompt", "two are not remembered with full hands")
NEVER = Property("nothing forbidden is said", "no promise, no haste, no blame, no bare 'stop'")
ANSWERABLE = Property("every question takes its answers", "a question nobody can answer costs time")
SILENT = Property("every step answers silence", "nobody may be left without the next prompt")
REPEATS = Property("a question is repeated before silence acts", "it may not have been heard")
KEYED = Property("what jumps has a key", "a voice may fail")
GRADE = Property("the reading grade", "who is afraid reads and hears like a child of twelve", "Kincaid et al. 1975; six: CLINICAL", 6, "years of school")
PROPERTIES = (JUMPS, GRADE, ONE_ACTION, NEVER, ANSWERABLE, SILENT, REPEATS, KEYED)

BOTH = {  # a question and the answers it must take: CLINICAL sections 4 to 7
    "is the chest going up?": {"rising", "flat"}, "did the catheter go all the way?": {"passed", "won't pass", "no suction"},
    "is the chest moving by itself?": {"moving", "not better", "flat", "better", "worse"}, "lips: better, or still bad?": {"better", "not better"},
    "does it go?": {"passed", "won't pass", "no suction"}, "any breaths by itself?": {"not breathing", "moving", "better", "not better"},
    "breathing: same, or worse?": {"still fine", "worse", "not better"}, "any breathing?": {"moving", "better"}, "any movement?": {"moving", "limp"},
    "oxygen number?": {"number fine", "number low"}, "number is low. read it again.": {"number fine", "number low", "not better"},
    "valve or cap still on?": {"still on", "nothing on"}, "is the oxygen hissing?": {"oxygen on"}, "is the tube in the neck?": {"in place"},
    "stay on the bag, or back on the vent?": {"stay on bag", "back on vent", "worse"}, "to close, say: close it now.": {"close it", "worse"},
    "only streaks, or more?": {"streaks", "bleeding"}, "alarm: quiet, or still on?": {"alarm quiet", "alarm on"},
    "how is": {"still fine", "worse", "not better", "flat"}, "when all is done": {"finished", "worse"},
}  # fmt: skip
_ACTIONS = {  # a step whose prompt has this is answered with one of these
    "out of the neck": set(), "new tube in,": {"tube in", "stuck"}, "smaller tube in,": {"tube in", "stuck"}, "once more.": {"tube in", "stuck"},
    "same one back": {"tube in", "stuck"}, "over the catheter": {"tube in", "stuck"}, "new tube in your hand": {"tube ready", "no spare"},
    "suction now": {"passed"}, "suction again": {"passed", "won't pass", "no suction"},
}  # fmt: skip
JUMP_ANSWERS_KEYED = ("came out", "halfway", "not breathing", "limp", "bleeding", "neck swelling", "vomit", "no suction", "no bag", "no oxygen",
                      "mucus", "call now", "on speaker", "no phone", "paramedics", "taken over", "tell them", "wrong", "hold on")  # fmt: skip
_IMPERATIVES = frozenset(
    ["take", "pull", "push", "put", "squeeze", "hold", "fill", "empty", "tie", "look", "watch", "feel", "press", "turn", "wipe", "fetch", "call", "phone", "find", "tap", "stay", "read", "use", "say", "drop", "touch", "give", "suction", "roll", "breathe", "keep", "stop", "tell", "change", "make", "rest", "go"]
)
ALLOWED_TWO = re.compile(r"^(tap and shout|blocked\?|chest flat\?|to close|when all is done|mucus\?|make the call|number is low|suction (now|again)\. depth|for the operator)", re.IGNORECASE)
"""CLINICAL's own wordings of one short action after another, or an answer to be said."""


def look_at_texts(flow: Flow, table: Table, into: Walked) -> None:
    found = into.findings
    jumps = sorted({w.lower() for a, arms in flow.everywhere.items() if any(arm.go for arm in arms) for w in flow.answers[a].wordings if len(w.split()) > 1}, key=len)
    texts = table.texts()
    whole = round(grade(" ".join(t if t[-1] in ".?!" else f"{t}." for t in texts)), 2)
    found.measure(GRADE.name, whole, flow.rules.reading_grade, f"the texts read at grade {whole:g}")
    hows = {stand.how for stand in table.stands.values()}  # how one action is done
    for text in texts:
        low = re.sub(r"[^a-z' ]", " ", text.lower())
        low = f" {' '.join(low.split())} "
        phrase = next((j for j in jumps if f" {re.sub(r'[^a-z ]', '', j)} " in low), None)
        mine = text.lower().startswith(("address", "again"))
        found.check(JUMPS.name, mine or phrase is None, f"{text!r} contains {phrase!r}")
        found.check(NEVER.name, not any(n in low for n in NEVER_SAID) and low.strip() not in ("stop", "out", "off", "good"), text)
        if text not in hows and not ALLOWED_TWO.match(text) and not mine and not text.startswith("I heard") and not text.endswith("Once more."):
            spoken = text.split(": ", 1)[-1] if ":" in text else text
            begins = [part.split()[0].lower().strip(".?!,") for part in re.split(r"[.?!:,] ", spoken) if part.split()]
            found.check(ONE_ACTION.name, sum(b in _IMPERATIVES for b in begins) < 2 and " then " not in low, text)
    for name, step in flow.steps.items():
        own = {*step.answers}
        for line in (*step.ask, *step.say):
            for part, needed in {**(BOTH if line in step.ask else {}), **({} if line in step.ask or step.visit else _ACTIONS)}.items():
                if part in line.say.lower() and not (step.visit and part == "is the chest going up?" and not own):
                    found.check(ANSWERABLE.name, needed <= own, f"{name!r} does not take {', '.join(sorted(needed - own))}")
        found.check(SILENT.name, bool(step.silent or step.after or step.final), name)
        for silent in step.silent:
            if silent.act_s is not None and step.ask and not step.visit and not silent.when:
                found.check(REPEATS.name, silent.repeat_s is not None and silent.repeat_s < silent.act_s, f"{name!r} acts without asking again")
    for answer in JUMP_ANSWERS_KEYED:
        found.check(KEYED.name, answer in flow.answers and flow.answers[answer].key is not None, f"{answer!r} has no key")
