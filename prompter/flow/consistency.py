"""What the schema cannot say: every name in a flow must lead somewhere, and every prompt must be sayable."""

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass

from prompter.care.plan import FACTS
from prompter.flow.conditions import NUMBER_ATOMS, parse
from prompter.flow.document import Arm, Effects, Flow, Line, Step
from prompter.flow.memory import KNOWN

SPECIAL_TARGETS = frozenset({"back", "back-to-here"})
NUMBER_ANSWERS = frozenset({"number low", "number fine"})
PLACEHOLDERS = frozenset(
    {"name", "helper", "number", "depth", "saline_ml", "cuff_ml", "bleeding_cuff_ml", "address",
     "callback", "clinician"}
)  # fmt: skip
NEVER_SAID = (
    "it's fine", "all clear", "too late", "hurry", "calm down", "you should have", "harder",
    "on the way", "help is coming", "calling",
)  # fmt: skip
"""What no prompt says. Common practice, no source."""
MOUTH_WORDS = ("mouth", "nose", "chin", "head back")

Path_ = tuple[str | int, ...]


@dataclass(frozen=True)
class Finding:
    path: Path_
    what: str
    mend: str


def findings(flow: Flow) -> list[Finding]:
    """Everything inconsistent, in no particular order; empty when the flow is sound."""
    return [*_targets(flow), *_answers(flow), *_opposites(flow), *_conditions(flow), *_effects(flow), *_texts(flow), *_steps(flow)]


def arms_of(flow: Flow) -> Iterator[tuple[Path_, Arm]]:
    """Every arm with its path in the file."""
    for name, step in flow.steps.items():
        for answer, arms in step.answers.items():
            for index, arm in enumerate(arms):
                yield ("steps", name, "answers", answer, index), arm
        for index, silent in enumerate(step.silent):
            yield ("steps", name, "silent", index), silent
    for answer, arms in flow.everywhere.items():
        for index, arm in enumerate(arms):
            yield ("everywhere", answer, index), arm


def effects_of(flow: Flow) -> Iterator[tuple[Path_, Effects]]:
    """Everything that changes what is known, with its path."""
    yield from arms_of(flow)
    for name, step in flow.steps.items():
        yield ("steps", name, "enter"), step.enter
    for name, effects in flow.effects.items():
        yield ("effects", name), effects


def lines_of(flow: Flow) -> Iterator[tuple[Path_, Line]]:
    """Every prompt of care and call, with its path."""
    for name, step in flow.steps.items():
        for part, lines in (("say", step.say), ("then_say", step.then_say), ("ask", step.ask)):
            for index, line in enumerate(lines):
                yield ("steps", name, part, index), line
    for path, arm in arms_of(flow):
        for index, line in enumerate(arm.say):
            yield (*path, "say", index), line
    for index, line in enumerate(flow.summary):
        yield ("summary", index), line
    for part, lines in (("ask", flow.call.ask), ("on_speaker", flow.call.on_speaker)):
        for index, line in enumerate(lines):
            yield ("call", part, index), line


def _close(word: str, among: list[str]) -> str:
    close = difflib.get_close_matches(word, among, n=1)
    return f"Did you mean `{close[0]}`?" if close else "Use a name that stands in this file."


def _targets(flow: Flow) -> Iterator[Finding]:
    names = [*flow.steps, *flow.ways]
    places: list[tuple[Path_, str | None]] = [(("start",), flow.start)]
    places += [((*path, "go"), arm.go) for path, arm in arms_of(flow)]
    for name, step in flow.steps.items():
        places += [(("steps", name, part), getattr(step, part)) for part in ("after", "otherwise", "gap")]
    for way, lines in flow.ways.items():
        places += [(("ways", way, index, "go"), line.go) for index, line in enumerate(lines)]
    places += [(("rules", "breath_gap", i, "go"), line.go) for i, line in enumerate(flow.rules.breath_gap)]
    for path, target in places:
        special = () if path[-1] == "otherwise" else SPECIAL_TARGETS  # a step may be gone round from where nothing leads back
        if target is not None and target not in names and target not in special:
            yield Finding(path, f"no step or way is called `{target}`.", _close(target, names))
    for way, lines in flow.ways.items():
        if not lines or lines[-1].when:
            yield Finding(("ways", way), f"the way `{way}` may lead nowhere.", "End it with a line without `if`.")
        if way in flow.steps:
            yield Finding(("ways", way), f"`{way}` is a step and a way.", "Rename one of them.")
    yield from _circles(flow)


def _circles(flow: Flow) -> Iterator[Finding]:
    def leads(name: str) -> list[str]:
        if name in flow.ways:
            return [line.go for line in flow.ways[name]]
        step = flow.steps.get(name)
        return [step.otherwise] if step and step.otherwise else []

    for way in flow.ways:
        seen, todo = set(), leads(way)
        while todo:
            name = todo.pop()
            if name == way:
                yield Finding(("ways", way), f"the way `{way}` leads to itself.", "Break the circle.")
                break
            if name not in seen:
                seen.add(name)
                todo += leads(name)


def _answers(flow: Flow) -> Iterator[Finding]:
    known = [*flow.answers]
    for part, named in (("everywhere", flow.everywhere), *((("steps", n), s.answers) for n, s in flow.steps.items())):
        prefix: Path_ = (part,) if isinstance(part, str) else (*part, "answers")
        for answer, arms in named.items():
            if answer not in flow.answers and answer not in NUMBER_ANSWERS:
                yield Finding((*prefix, answer), f"`{answer}` has no wordings.", _close(answer, known))
            for index, arm in enumerate(arms):
                if (arm.go is None) == (not arm.stay):
                    yield Finding((*prefix, answer, index), f"`{answer}` must either go somewhere or stay.", "Give `go: STEP` or `stay: true`.")
    owners: dict[str, str] = {}
    for answer, body in flow.answers.items():
        for index, wording in enumerate(body.wordings):
            plain = wording.lower()
            if plain in owners:
                yield Finding(("answers", answer, "wordings", index), f"`{wording}` stands for `{owners[plain]}` too.", "A wording means one thing.")
            owners[plain] = answer
    keys: dict[str, str] = {}
    for answer, body in flow.answers.items():
        if body.key and body.key in keys:
            yield Finding(("answers", answer, "key"), f"the key `{body.key}` is taken by `{keys[body.key]}`.", "Choose another.")
        if body.key:
            keys[body.key] = answer
    for name, step in flow.steps.items():
        for index, silent in enumerate(step.silent):
            if silent.same_as and silent.same_as not in step.answers:
                yield Finding(("steps", name, "silent", index), f"`as: {silent.same_as}` is no answer of this step.", _close(silent.same_as, [*step.answers]))


def _opposites(flow: Flow) -> Iterator[Finding]:
    for answer, others in flow.opposites.items():
        for index, name in enumerate((answer, *others)):
            path: Path_ = ("opposites", answer) if index == 0 else ("opposites", answer, index - 1)
            if name not in flow.answers:
                yield Finding(path, f"`{name}` has no wordings.", _close(name, [*flow.answers]))
            elif index and name == answer:
                yield Finding(path, f"`{name}` cannot be its own opposite.", "Remove it.")


def _conditions(flow: Flow) -> Iterator[Finding]:
    marks = {m for _, e in effects_of(flow) for m in e.set} | {m for _, line in lines_of(flow) for m in line.set}
    counts = {c for _, e in effects_of(flow) for c in e.count}
    for path, some in (*effects_of(flow), *lines_of(flow)):
        for name in some.clear:
            if name not in marks:
                yield Finding((*path, "clear"), f"nothing ever sets `{name}`.", _close(name, sorted(marks)))
    places = [((*path, "if"), line.when) for path, line in lines_of(flow)]
    places += [((*path, "if"), arm.when) for path, arm in arms_of(flow)]
    places += [(("ways", way, i, "if"), line.when) for way, lines in flow.ways.items() for i, line in enumerate(lines)]
    places += [(("steps", name, "only_if"), step.only_if) for name, step in flow.steps.items()]
    places += [(("rules", "breath_gap", i), line.when) for i, line in enumerate(flow.rules.breath_gap)]
    for path, conditions in places:
        for text in conditions:
            atom = parse(text)
            if atom.sort == "mark" and atom.name not in FACTS and atom.name not in marks:
                yield Finding(path, f"nothing ever sets `{atom.name}`.", _close(atom.name, [*FACTS, *marks, *NUMBER_ATOMS]))
            if atom.sort == "count" and atom.name not in counts:
                yield Finding(path, f"nothing ever counts `{atom.name}`.", _close(atom.name, sorted(counts)))


def _effects(flow: Flow) -> Iterator[Finding]:
    for path, effects in effects_of(flow):
        for name, value in effects.learn.items():
            if name not in KNOWN:
                yield Finding((*path, "learn"), f"`{name}` cannot be learned.", _close(name, [*KNOWN]))
            elif value not in KNOWN[name]:
                yield Finding((*path, "learn"), f"`{name}` is never `{value}`.", f"One of: {', '.join(KNOWN[name])}.")
        if effects.do is not None and effects.do not in flow.effects:
            yield Finding((*path, "do"), f"no effect is called `{effects.do}`.", _close(effects.do, [*flow.effects]))


def _all_lines(flow: Flow) -> Iterator[tuple[Path_, Line]]:
    yield from lines_of(flow)
    for name, step in flow.steps.items():
        if step.how:
            yield ("steps", name, "how"), Line(say=step.how)
    for part, words in (("rules", ("number_again", "heard", "ask_back", "confirm", "use_key", "going_back", "holding", "continuing")),
                        ("call", ("ask_paced", "remind", "remind_without_phone"))):  # fmt: skip
        for name in words:
            text = getattr(getattr(flow, part), name)
            yield (part, name), Line(say=text.replace("{read_back}", "word").replace("{title}", "word") if part == "rules" else text)


def _texts(flow: Flow) -> Iterator[Finding]:
    for path, line in _all_lines(flow):
        for word in re.findall(r"\{([^}]*)\}", line.say):
            if word not in PLACEHOLDERS:
                yield Finding(path, f"the plan has no word {{{word}}}.", _close(word, sorted(PLACEHOLDERS)))
        spoken = re.sub(r"\{[^}]*\}", "word", line.say)
        if len(spoken.split()) > flow.rules.most_words:
            yield Finding(path, f"`{line.say}` has more than {flow.rules.most_words} words.", "Split it into two prompts.")
        for never in NEVER_SAID:
            if never in spoken.lower():
                yield Finding(path, f"`{line.say}` says '{never}', which no prompt may.", "Say what to do instead.")
        if any(word in spoken.lower() for word in MOUTH_WORDS) and not _kept_from_neck_only(flow, path, line):
            yield Finding(path, f"`{line.say}` may be heard by a neck-only patient.", "Add `if: [open, ...]` or `if: [not neck only]`.")


def _kept_from_neck_only(flow: Flow, path: Path_, line: Line) -> bool:
    safe = {"open", "hard", "not neck only", "not hard"} - {"not hard"}
    if safe & set(line.when):
        return True
    if path[0] != "steps":
        return False
    # A step that is only reached by ways which the neck-only have left before.
    return path[1] in _steps_beyond_neck_only(flow)


def _steps_beyond_neck_only(flow: Flow) -> set[str]:
    """Steps that only other steps of the same kind, or ways past a `neck only` line, lead to."""
    reached: set[str] = set()
    todo = [flow.start, *(arm.go for arms in flow.everywhere.values() for arm in arms if arm.go), *(g.go for g in flow.rules.breath_gap)]
    while todo:
        name = todo.pop()
        if name in reached or name in SPECIAL_TARGETS:
            continue
        if name in flow.ways:
            reached.add(name)
            for line in flow.ways[name]:
                if not {"open", "hard", "not neck only"} & set(line.when):
                    todo.append(line.go)
                if line.when == ["neck only"]:
                    break
        elif name in flow.steps:
            reached.add(name)
            step = flow.steps[name]
            arms = [a for arms in step.answers.values() for a in arms] + list(step.silent)
            todo += [t for t in (step.after, step.otherwise, step.gap, *(a.go for a in arms)) if t]
    return set(flow.steps) - reached


def _ways_back(flow: Flow) -> set[str]:
    """`back`, and the ways that may lead there."""
    found = {"back"}
    while more := {name for name, lines in flow.ways.items() if name not in found and any(line.go in found for line in lines)}:
        found |= more
    return found


def _steps(flow: Flow) -> Iterator[Finding]:
    back = _ways_back(flow)
    for name, step in flow.steps.items():
        path: Path_ = ("steps", name)
        if step.only_if and not step.otherwise:
            yield Finding(path, f"`{name}` has `only_if` but says not where else to go.", "Add `otherwise: STEP`.")
        if not (step.after or step.silent or step.final):
            yield Finding(path, f"silence at `{name}` leads nowhere.", "Add `silent:` with its times, or `after:`.")
        for index, silent in enumerate(step.silent):
            if silent.act_s is None and silent.every_s is None:
                yield Finding((*path, "silent", index), "silence has no time.", "Give act_s or every_s.")
            if silent.act_s is not None and not (silent.go or silent.stay or silent.same_as):
                yield Finding((*path, "silent", index), "silence acts but leads nowhere.", "Give go, stay or as.")
        if step.silent and step.silent[-1].when:
            yield Finding((*path, "silent"), f"silence at `{name}` is not always answered.", "End with an entry without `if`.")
        leads = (step.after, step.otherwise, step.gap, *(a.go for arms in step.answers.values() for a in arms), *(s.go for s in step.silent))
        if not step.visit and back.intersection(leads):
            yield Finding(path, f"`{name}` goes back but is no visit.", "Add `visit: true`.")
        yield from _silence_needs_reason(flow, name, step)


def _silence_needs_reason(flow: Flow, name: str, step: Step) -> Iterator[Finding]:
    """Silence never takes a tube out: a step that learns it must be marked."""
    # "That's done" that means a tube is out: the step has asked for it.
    asked_for = [arms for answer, arms in step.answers.items() if answer in flow.answers and flow.answers[answer].risk == "plain"]
    effects = [e for arms in asked_for for arm in arms for e in (arm, flow.effects.get(arm.do or "", arm))]
    if any(e.learn.get("tube") == "out" for e in effects) and not step.needs_reason:
        yield Finding(("steps", name), f"`{name}` takes a tube out without `needs_reason: true`.", "Add it: silence never takes a tube out.")
