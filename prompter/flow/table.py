"""The flow for one plan: what the plan settles is settled, words are filled in, and rows are laid out.

The rows of a `Table` are the whole machine: nothing else moves it from step to step.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from prompter.events import Phrase
from prompter.flow.conditions import DYNAMIC_FACTS, Atom, Guard, guard_of, left_open
from prompter.flow.document import Arm, Effects, Flow, Lines, Silent, Step

STAY = ""
"""Target of a row that does not move."""


@dataclass(frozen=True)
class Variant:
    """What a plan means to a flow: its facts (None: left open), the words for {braces}, and its numbers."""

    facts: frozenset[str] | None
    words: Mapping[str, str]
    numbers: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Spoken:
    """One clip with its remaining condition, and the marks that saying it sets and takes away."""

    text: str
    guard: Guard | None
    sets: tuple[str, ...] = ()
    clears: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """From `source` on `trigger`, if all `atoms` hold, to `target` (STAY: nowhere), with these effects.

    `needs_reason`: the target may not be entered unless a spoken or keyed reason stands.
    `returns`: back from a visit, so the step is not entered anew.
    """

    source: str
    trigger: str
    atoms: tuple[Atom, ...]
    target: str
    effects: tuple[Effects, ...]
    confirm: bool = False
    say: tuple[Spoken, ...] = ()
    say_summary: bool = False
    needs_reason: bool = False
    everywhere: bool = False
    returns: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Quiet:
    """Times of silence at a step, in ms, with what still must hold for them."""

    guard: Guard | None
    repeat_ms: int | None
    act_ms: int | None
    every_ms: int | None
    say: tuple[Spoken, ...]
    may_hold: bool


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """One step as the machine stands in it: all words filled in."""

    name: str
    title: str
    enter: tuple[Effects, ...]
    say: tuple[Spoken, ...]
    then_say: tuple[Spoken, ...]
    ask: tuple[Spoken, ...]
    ask_at_ms: tuple[int, ...]
    ask_every_ms: int | None
    how: str | None
    quiet: tuple[Quiet, ...]
    has_after: bool
    beat: str
    beat_count: int | None
    through_mask: bool
    outcome: str | None
    final: bool
    own_answers: tuple[str, ...]
    visit: bool
    notes: bool = False


@dataclass
class Table:
    """Everything the machine needs for one variant of one flow."""

    flow: Flow
    variant: Variant
    stands: dict[str, Stand] = field(default_factory=dict)
    rows: list[Row] = field(default_factory=list)
    _allowed: dict[tuple[str, str | None], tuple[Phrase, ...]] = field(default_factory=dict)
    _lines: dict[tuple[str, ...], str] = field(default_factory=dict)
    _heard: dict[str, str] = field(default_factory=dict)

    @cached_property
    def start_marks(self) -> frozenset[str]:
        """Facts that may change while it goes on."""
        return (self.variant.facts or frozenset()) & DYNAMIC_FACTS

    @cached_property
    def may_gap(self) -> frozenset[str]:
        """Steps that breaths may interrupt."""
        return frozenset(row.source for row in self.rows if row.trigger == "gap")

    def phrases(self, step: str, interrupted: str | None = None) -> tuple[Phrase, ...]:
        """All wordings allowed at a step, its own first; at a visit those of the step it interrupted too."""
        key = (step, interrupted)
        if key not in self._allowed:
            own = [*self.stands[step].own_answers]
            if interrupted is not None:
                own += self.stands[interrupted].own_answers
            names = dict.fromkeys([*own, *self.flow.everywhere, *BUILT_IN])
            self._allowed[key] = tuple(
                Phrase(wording, answer, self.flow.answers[answer].risk)
                for answer in names if answer in self.flow.answers
                for wording in self.flow.answers[answer].wordings
            )  # fmt: skip
        return self._allowed[key]

    @cached_property
    def all_phrases(self) -> tuple[Phrase, ...]:
        """Every wording of the flow, whether allowed at some step or not."""
        return tuple(
            Phrase(wording, name, answer.risk)
            for name, answer in self.flow.answers.items() for wording in answer.wordings
        )  # fmt: skip

    def line(self, template: str, **words: str) -> str:
        """A rule's sentence with its words filled in."""
        key = (template, *words.values())
        if key not in self._lines:
            self._lines[key] = fill(template, {**self.variant.words, **words})
        return self._lines[key]

    def heard(self, answer: str) -> str:
        """How an answer is repeated: "I heard: chest flat."."""
        if answer not in self._heard:
            self._heard[answer] = self.line(self.flow.rules.heard, read_back=self.flow.answers[answer].words)
        return self._heard[answer]

    def asked_back(self, answer: str) -> str:
        """How an answer is asked back: "Chest flat? Once more, please."."""
        return _capital(self.line(self.flow.rules.ask_back, read_back=self.flow.answers[answer].words))

    def to_confirm(self, answer: str) -> str:
        """How good news is asked for a second time."""
        return _capital(self.line(self.flow.rules.confirm, read_back=self.flow.answers[answer].words))

    def continuing(self, step: str) -> str:
        """What is said first after a stop: "Continuing. Suction."."""
        title = self.stands[step].title
        return self.line(self.flow.rules.continuing, title=title if title.endswith("?") else f"{title}.")

    def texts(self) -> list[str]:
        """Every clip that this plan and flow can speak, each once, in the order of need."""
        rules, call = self.flow.rules, self.flow.call
        texts: list[str] = []
        for stand in self.stands.values():
            for spoken in (*stand.say, *stand.then_say, *stand.ask):
                texts.append(spoken.text)
            texts += [spoken.text for quiet in stand.quiet for spoken in quiet.say]
            texts += [stand.how] if stand.how else []
        for row in self.rows:
            texts += [spoken.text for spoken in row.say]
        texts += [self.heard(answer) for answer in self.flow.answers]
        texts += [self.asked_back(answer) for answer in self.flow.answers]
        texts += [self.to_confirm(answer) for answer in self.flow.answers]
        texts += [s.text for s in (*self.summary, *self.call_ask, *self.on_speaker)]
        texts += [self.line(t) for t in (call.ask_paced, call.remind, call.remind_without_phone)]
        texts += [rules.number_again, rules.use_key, rules.going_back, rules.holding]
        low, high = rules.numbers["spo2"]
        for value in range(max(low, 60), high + 1):
            texts += [self.line(t, read_back=str(value)) for t in (rules.heard, rules.ask_back)]
        return list(dict.fromkeys(texts))

    @cached_property
    def summary(self) -> tuple[Spoken, ...]:
        """The lines of "tell them"."""
        return self._spoken(self.flow.summary)

    @cached_property
    def summary_names(self) -> tuple[tuple[str, ...], ...]:
        """For each line of the summary, the marks and facts ("rise is yes") that must hold for it."""
        left = [left_open(line.when, self.variant.facts) for line in self.flow.summary]
        return tuple(
            tuple(a.text for a in atoms if a.sort in ("mark", "known") and not a.negated) for atoms in left if atoms is not None
        )

    @cached_property
    def call_ask(self) -> tuple[Spoken, ...]:
        """What asks for the call; the first line whose condition holds is said."""
        return self._spoken(self.flow.call.ask)

    @cached_property
    def on_speaker(self) -> tuple[Spoken, ...]:
        """What the operator is told once the phone is on speaker."""
        return self._spoken(self.flow.call.on_speaker)

    def _spoken(self, lines: Lines) -> tuple[Spoken, ...]:
        return tuple(_spoken(lines, self.variant))


BUILT_IN = ("say again", "how do I", "wrong", "hold on", "note")
"""Answers whose meaning is the machine's own and works at every step."""


BACK_TO = "back to "


def back_to(step: str) -> str:
    """The trigger of the rows that return from a visit."""
    return f"{BACK_TO}{step}"


def fill(template: str, words: Mapping[str, str]) -> str:
    """Replaces {words}; an unknown one raises KeyError (a flow is checked before)."""
    return re.sub(r"\{([^}]*)\}", lambda found: words[found.group(1)], template)


def build(flow: Flow, variant: Variant) -> Table:
    """Lays out the rows of `flow` for `variant`, with only the steps that can be reached."""
    builder = _Builder(flow, variant)
    return builder.table()


@dataclass(frozen=True, slots=True)
class _Lead:
    """An arm as this variant has it. The arm itself is kept so that its id stays its own."""

    arm: Arm
    targets: list[tuple[tuple[Atom, ...], str, bool]]
    effects: tuple[Effects, ...]
    say: tuple[Spoken, ...]


class _Builder:
    def __init__(self, flow: Flow, variant: Variant) -> None:
        self.flow, self.variant = flow, variant
        self._leads: dict[int, _Lead] = {}
        self._going: dict[str, Arm] = {}

    def table(self) -> Table:
        rows: dict[str, list[Row]] = {}
        start = self.start()
        todo = [start]
        while todo:
            name = todo.pop()
            if name in rows:
                continue
            rows[name] = self._rows_of(name)
            todo += [row.target for row in rows[name] if row.target and row.target != "back"]
        names = [start, *(name for name in self.flow.steps if name in rows and name != start)]
        table = Table(self.flow, self.variant, {name: self._stand(name) for name in names})
        table.rows = [row for name in names for row in rows[name]]
        table.rows += self._ways_back(names, table.rows)
        return table

    def start(self) -> str:
        return self._resolve(self.flow.start)[0][1]

    def _ways_back(self, names: list[str], rows: list[Row]) -> list[Row]:
        """A step that does not fit any more (no suction, said on the visit) is gone round, as it is on the way."""
        ends = dict.fromkeys(row.source for row in rows if row.target == "back")
        lead = {place: self._resolve(place) for place in names}
        return [Row(end, back_to(place), atoms, step, (), returns=step == place) for end in ends for place in names for atoms, step in lead[place]]

    # -- where a name leads: an ordered list, the last without conditions

    def _resolve(self, name: str) -> list[tuple[tuple[Atom, ...], str]]:
        if name == "back":
            return [((), "back")]
        if name == "back-to-here":
            return [((), STAY)]
        if name in self.flow.ways:
            found: list[tuple[tuple[Atom, ...], str]] = []
            for line in self.flow.ways[name]:
                atoms = self._open(line.when)
                if atoms is None:
                    continue
                found += [((*atoms, *more), step) for more, step in self._resolve(line.go)]
                if not atoms:
                    break
            return found
        step = self.flow.steps[name]
        atoms = self._open(step.only_if)
        if atoms is None:
            return self._resolve(step.otherwise or name)
        if not atoms:
            return [((), name)]
        return [(atoms, name), *self._resolve(step.otherwise or name)]

    def _open(self, conditions: Iterable[str]) -> tuple[Atom, ...] | None:
        return left_open(conditions, self.variant.facts)

    # -- rows

    def _rows_of(self, name: str) -> list[Row]:
        step = self.flow.steps[name]
        rows: list[Row] = []
        for answer, arms in step.answers.items():
            rows += self._arms(name, answer, arms)
        for answer, arms in self.flow.everywhere.items():
            if answer not in step.answers and not step.final:
                rows += self._arms(name, answer, arms, everywhere=True)
        for silent in step.silent:
            if silent.act_s is None:
                continue
            atoms = self._open(silent.when)
            if atoms is None:
                continue
            arms = step.answers[silent.same_as] if silent.same_as else [silent]
            rows += self._arms(name, "silent", arms, first=atoms if silent.same_as else ())
            if not atoms:
                break
        if step.after:
            rows += self._arms(name, "after", [self._arm_to(step.after)])
        if not step.final and step.outcome is None:
            for line in self.flow.rules.breath_gap:
                atoms = self._open(line.when)
                if atoms is not None:
                    go = step.gap if step.gap and line.go == self.flow.rules.breath_gap[-1].go else line.go
                    own = self._leading(name, "gap", atoms, self._arm_to(go))
                    rows += own
                    if any(row.needs_reason for row in own):
                        rows += self._leading(name, "gap", atoms, self._arm_to(line.go))  # no reason stands any more: breaths all the same
                    if not atoms:
                        break
        return rows

    def _arm_to(self, go: str) -> Arm:
        """An arm that only leads there; one for all steps."""
        if go not in self._going:
            self._going[go] = Arm(go=go)
        return self._going[go]

    def _arms(self, source: str, trigger: str, arms: Iterable[Arm], first: tuple[Atom, ...] = (), everywhere: bool = False) -> list[Row]:
        rows: list[Row] = []
        for arm in arms:
            atoms = self._open(arm.when)
            if atoms is None:
                continue
            rows += self._leading(source, trigger, (*first, *atoms), arm, everywhere)
            if not atoms and not first:
                break
        return rows

    def _leading(self, source: str, trigger: str, atoms: tuple[Atom, ...], arm: Arm, everywhere: bool = False) -> list[Row]:
        # An arm that works everywhere does the same at every step: worked out once.
        lead = self._leads.get(id(arm))
        if lead is None:
            targets = [((), STAY)] if arm.stay or arm.go is None else self._resolve(arm.go)
            lead = self._leads[id(arm)] = _Lead(
                arm, [(*target, self._needs_reason(target[1])) for target in targets],
                # A silent arm's own words are said as it acts; an "every" line is not an arm's.
                self._effects(arm), tuple(_spoken(arm.say, self.variant)),
            )  # fmt: skip
        return [
            Row(
                source, trigger, (*atoms, *more), target, lead.effects, arm.confirm, lead.say, arm.say_summary,
                needs_reason, everywhere,
            )
            for more, target, needs_reason in lead.targets
        ]  # fmt: skip

    def _needs_reason(self, target: str) -> bool:
        return target not in (STAY, "back") and self.flow.steps[target].needs_reason

    def _effects(self, effects: Effects) -> tuple[Effects, ...]:
        named = (self.flow.effects[effects.do],) if effects.do else ()
        says_something = any(getattr(effects, name) for name in Effects.model_fields if name != "do")
        return (*named, effects) if says_something else named

    # -- steps

    def _stand(self, name: str) -> Stand:
        step, numbers = self.flow.steps[name], self.variant.numbers
        beat, count = _beat(step, numbers)
        at = step.ask_at_s or ([0.0, step.ask_every_s] if step.ask_every_s else [])
        return Stand(
            name, fill(step.title, self.variant.words), self._effects(step.enter),
            tuple(_spoken(step.say, self.variant)), tuple(_spoken(step.then_say, self.variant)),
            tuple(_spoken(step.ask, self.variant)), tuple(int(s * 1000) for s in at), _ms(step.ask_every_s),
            fill(step.how, self.variant.words) if step.how else None,
            tuple(q for s in step.silent for q in self._quiet(s)), bool(step.after), beat, count,
            bool(step.beat and step.beat.through == "mask"), step.outcome, step.final,
            tuple(step.answers), step.visit, step.notes,
        )  # fmt: skip

    def _quiet(self, silent: Silent) -> list[Quiet]:
        atoms = self._open(silent.when)
        if atoms is None:
            return []
        say = tuple(_spoken(silent.say, self.variant)) if silent.every_s else ()
        return [Quiet(guard_of(atoms), _ms(silent.repeat_s), _ms(silent.act_s), _ms(silent.every_s), say, silent.hold)]


def _beat(step: Step, numbers: Mapping[str, float]) -> tuple[str, int | None]:
    beat = step.beat
    if beat is None:
        return "", None
    if beat.pushes:
        return "pushes", None
    if beat.suction:
        return "suction", int(numbers["suction_s"])
    if beat.breaths == "endless":
        return "breaths", None
    return "breaths", int(numbers["rescue_breaths"]) if beat.breaths == "rescue" else beat.breaths


def _spoken(lines: Lines, variant: Variant) -> Iterable[Spoken]:
    for line in lines:
        left = left_open(line.when, variant.facts)
        if left is not None:
            yield Spoken(_capital(fill(line.say, variant.words)), guard_of(left), tuple(line.set), tuple(line.clear))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _ms(seconds: float | None) -> int | None:
    return None if seconds is None else int(seconds * 1000)
