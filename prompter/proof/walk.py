"""Walks the states of a flow breadth first, so that the first way found to a fault is the shortest."""

import time
from collections import deque
from collections.abc import Hashable, Iterator
from dataclasses import dataclass, replace
from hashlib import sha256

from prompter.events import Answered, Record, SpeechStarted, Ticked
from prompter.flow.document import Flow
from prompter.flow.machine import FlowMachine
from prompter.flow.memory import Memory
from prompter.flow.table import Table, build
from prompter.proof import properties
from prompter.proof.abstract import States
from prompter.proof.drawn import Drawn
from prompter.proof.forking import ForkingMachine
from prompter.proof.found import Path, Walked
from prompter.proof.late import HOLDS_UP, Lateness, lateness
from prompter.proof.moves import ALWAYS, ONCE_A_PLACE, SPEAKS, Make, Moves, Sort
from prompter.proof.node import Node, path_to
from prompter.proof.passing import (
    Passing,
    UntilNearlyTooLate,
    begin,
    until_changed,
    until_unconfirmed,
)
from prompter.proof.properties.ends import HAND_OVER, SECOND_TIME, SECOND_TIME_S
from prompter.proof.properties.machine import NEVER_STOPS, SAME, UNDO
from prompter.proof.rows import RowEngine
from prompter.proof.scene import NEVER, Scene
from prompter.proof.variants import Facts, Undecided, begun, open_variant, undecided
from prompter.proof.watch import Edge, Findings, Stood, Watch, follow

FINE_OF_ONE_COARSE = 6
"""Fine states walked of each coarse one, at most."""
WALKED_AGAIN_EVERY = 400
"""One state in so many is reached a second time from the start, event by event."""
ENTRIES_MOST = 16
"""Ways to each step that are kept, at most."""


@dataclass(frozen=True)
class Part:
    """What one walk does. No age changes more than seconds, so the walks of two ages share the work.

    `everywhere`: what works everywhere is said at every state; else at every step and moment.
    `aspects`: everything remembered is brought to every step.
    `words`: what only speaks, taking back and handing over, at every step and moment.
    `late`: a state that is met with breaths missing for longer than before is walked again.
    """

    everywhere: bool = True
    aspects: bool = False
    words: bool = False
    late: bool = False


MOVES, WORDS = Part(), Part(everywhere=False, aspects=True, words=True)
LATE = replace(WORDS, late=True)


class Walk:
    """One age. `most_moves` bounds the fine states, never the coarse ones.

    `only`: the one property that ends it with `stop_at_first`. `keep_entries`: ways that lead to just before each step
    are kept in `entries`, for `run_from`. `order`: a seed; states are walked in an order drawn by it, so that others are met first.
    """

    def __init__(self, flow: Flow, age: str, most_moves: int = 0, stop_at_first: bool = False, digest: bool = False, part: Part = MOVES, table: Table | None = None, only: str | None = None, keep_entries: bool = False, order: int | None = None) -> None:
        self.table = table or build(flow, open_variant(age))
        self.engine = RowEngine(self.table)
        self.states = States(self.table)
        self.moves = Moves(self.table)
        self._until_changed = until_changed(self.states)
        self.flow, self.age, self.most_moves, self.stop_at_first = flow, age, most_moves, stop_at_first
        self.found = Walked(age)
        self._now_found = Findings()  # of one move
        self._now_found.worst, self._now_found.looked = self.found.findings.worst, self.found.findings.looked
        self._seen: dict[Hashable, list[Facts]] = {}
        self._walked: dict[Hashable, dict[str, list[tuple[Facts, frozenset[str]]]]] = {}
        self._tried: dict[Hashable, dict[Hashable, Node]] = {}  # by place
        self._tried_once: dict[Hashable, Node] = {}
        self._asked_first: dict[Hashable, str] = {}
        self._aspects: dict[str, tuple[set[Hashable], set[Hashable]]] = {}
        self._arrived: dict[Hashable, set[Facts]] = {}
        self._late = Lateness()
        self._parked: dict[Hashable, list[Node]] = {}
        self._matters: dict[Hashable, set[str]] = {}
        self._fine: dict[Hashable, set[Hashable]] = {}
        self._fresh: deque[tuple[Hashable, Node]] | Drawn = deque() if order is None else Drawn(order)
        self._more: deque[tuple[Hashable, Node]] = deque()
        self.part, self.only = part, only
        self.digest, self._digest = digest, sha256()
        self._classes: set[Facts] = set()
        self.entries: dict[str, list[Path]] = {}
        self._keep_entries = keep_entries
        self._facts = undecided(flow)
        self._failed = 0

    def run(self) -> Walked:
        for start in self.flow.starts:
            for facts in begun(self.flow, start, self._facts):
                for helper in (False, True):
                    self._start(start, helper, facts)
        return self._walk_on()

    def run_from(self, paths: list["Path"], most: int) -> Walked:
        """Walks on from where these events lead, `most` moves at the most: what it finds is real, what it does not may be."""
        for path in paths:
            node = self._follow(path)
            if node is not None:
                self._arrive(node)
        return self._walk_on(most)

    def _follow(self, path: "Path") -> Node | None:
        """One way, event by event; None if it asks for more of the plan than was decided, or ends."""
        facts = self._facts.relative(path.decided)
        root = Node(Scene(self._machine(path.start, path.helper, facts)), Watch(), facts)
        scene, watch = root.scene.fork(), Watch()
        node = Node(scene, watch, facts, root, (0, *path.events), 1)
        events: list[Record | int | None] = [None, *path.events]
        try:
            for event in events:
                for _ in range(event) if isinstance(event, int) else (event,):
                    step, before = scene.machine.step, Stood(scene.machine.memory)
                    if event is None:
                        scene.start()
                    elif isinstance(event, int):
                        scene.pass_time()
                    else:
                        scene.happen(event)
                        if type(event) is Ticked:
                            continue
                    self._look(node, Edge(None if isinstance(event, int) else event, step, before, scene, facts))
        except Undecided:
            return None
        except Exception as error:  # noqa: BLE001 - whatever the machine raises is a finding
            self._fail(node, NEVER_STOPS.name, f"{type(error).__name__}: {error}")
            return None
        return node

    def _walk_on(self, most: int = 0) -> Walked:
        began = time.perf_counter()
        while (self._fresh or self._more) and not (self.stop_at_first and self._failed or 0 < most <= self.found.moves):
            if self._fresh:
                key, node = self._fresh.popleft()
            elif self.found.moves < self.most_moves:
                key, node = self._more.popleft()
            else:
                break
            if node.scene is not None:  # it may have waited for two reasons
                self._expand(key, node)
            node.scene = node.watch = None  # type: ignore[assignment]  # of what has been walked, the events alone are needed
        found = self.found
        found.findings.looked[NEVER_STOPS.name] = found.moves
        found.left, found.seconds = len(self._more), time.perf_counter() - began
        found.coarse = len(self._seen)
        found.cues, found.classes = self._digest.hexdigest(), len(self._classes)
        return found

    # ---- one state

    def _start(self, start: str, helper: bool, facts: Facts) -> None:
        root = Node(Scene(self._machine(start, helper, facts)), Watch(), facts)
        for node in self._happen(root, None, begin):
            self._arrive(node)

    def _machine(self, start: str, helper: bool, facts: Facts) -> FlowMachine:
        return self._begun(ForkingMachine(self.table, self.engine), start, helper, facts)

    def _begun(self, machine: FlowMachine, start: str, helper: bool, facts: Facts) -> FlowMachine:
        machine.step = start
        machine.memory.facts = facts
        if helper:
            machine.memory.marks.add("helper")
        return machine

    def _expand(self, key: Hashable, node: Node) -> None:
        self.found.states += 1
        self.found.depth = max(self.found.depth, node.depth)
        walked = {} if node.new_aspects or node.late else self._walked.setdefault(key, {})
        for name, make, sort in self.moves.at(node.scene):
            if sort is ALWAYS or self._may_try(name, sort, node):
                self._try(key, walked, name, node, make)
        self._try(key, walked, "", node, None)
        if self.part.words and self._first_at("handing over", node):
            self._hand_over(node)
        if self.found.states % WALKED_AGAIN_EVERY == 1:
            self._walk_again(node)

    def _may_try(self, name: str, sort: Sort, node: Node) -> bool:
        """What only speaks or marks, and in one part what works everywhere, is tried once a place."""
        if sort is SPEAKS:
            return node.late and name in HOLDS_UP or self.part.words and self._first_at(name, node)
        if self.part.everywhere and name not in ONCE_A_PLACE:
            return True
        if self._first_at((name, "crew" in node.scene.machine.memory.marks), node):
            return True
        # Its rows are the same at every step: with each sum of what is remembered it is tried at one.
        return node.new_aspects and self._tried_once.setdefault((name, frozenset(self.states.aspects(node.scene))), node) is node

    def _first_at(self, what: Hashable, node: Node) -> bool:
        """Whether this is where it is tried: once at every step and moment."""
        tried = node.tried
        if tried is None:
            tried = node.tried = self._tried.setdefault(self.states.place(node.scene), {})
        return tried.setdefault(what, node) is node

    def _try(self, key: Hashable, walked: dict[str, list[tuple[Facts, frozenset[str]]]], name: str, node: Node, make: Make | None) -> None:
        """One event, unless the plans that come here anew are not asked about by what it does."""
        before = walked.setdefault(name, [])
        for facts, matters in before:
            if matters.isdisjoint(facts.apart(node.facts)):
                return
        asked = node.facts.asked
        asked.clear()
        event = make(node.scene.now) if make else None
        if event is None:
            for after in self._happen(node, None, self._until_changed):
                self._arrive(after)
        else:
            for after in self._happen(node, event):
                self._came_of(node, event, after)
        before.append((node.facts, frozenset(asked)))
        matters = self._matters.setdefault(key, set())
        if not asked <= matters:
            matters |= asked
            self._unpark(key)

    def _came_of(self, node: Node, event: Record, after: Node) -> None:
        if type(event) is Answered and after.scene.machine._history and self._worth_taking_back(node, event.answer, after):
            self._take_back(node, after)
        if self.part.words and type(event) is Answered and after.scene.machine.step == node.scene.machine.step and self._first_at(("twice", event.answer), node):
            self._say_twice(event.answer, after)
        if after.scene.machine.memory.pending is not None:
            self._confirm(after)
        elif type(event) is SpeechStarted:
            for later in self._happen(after, None, self._until_changed):
                self._arrive(later)
        else:
            self._arrive(after)

    def _happen(self, node: Node, event: Record | None, passing: Passing | None = None) -> Iterator[Node]:
        """Every way this goes on, by what is decided about the plan meanwhile: with an event, or as time passes."""
        memory, step = node.scene.machine.memory, node.scene.machine.step
        about = (step, event and (event.kind, getattr(event, "answer", None)), memory.known["tube"])
        asked = self._asked_first.get(about, "")
        decided = node.facts.decided
        todo = node.facts.possibilities(asked)[:] if asked and asked not in decided else [node.facts]
        while todo:
            facts = todo.pop()
            scene = node.scene.fork()
            scene.machine.memory.facts = facts
            watch = node.watch.copy()
            after = Node(scene, watch, facts, node, (), node.depth + 1)
            try:
                if event is not None:
                    scene.happen(event)
                    after.events = (event,)
                    self._look(after, Edge(event, step, memory, scene, facts))
                else:
                    self._look_at_each(after, step, memory, passing)
            except Undecided as open_fact:
                self._asked_first.setdefault(about, open_fact.dimension)
                todo += facts.possibilities(open_fact.dimension)
                continue
            except Exception as error:  # noqa: BLE001 - whatever the machine raises is a finding
                after.events = (scene.passed + 1 if event is None else event,)
                self._fail(after, "nothing stops the machine", f"{type(error).__name__}: {error}")
                continue
            self.found.moves += 1
            yield after

    def _look_at_each(self, after: Node, source: str, before: Memory | Stood, passing: Passing) -> None:
        """Everything that silence brings, one thing after the other."""
        scene, facts = after.scene, after.facts
        for _ in passing(scene):
            after.events = (scene.passed,)
            self._look(after, Edge(None, source, before, scene, facts))
            source, before = scene.machine.step, Stood(scene.machine.memory)

    def _look(self, after: Node, edge: Edge) -> None:
        findings = self._now_found
        properties.look(after.watch, edge, findings)
        follow(after.watch, edge)
        properties.look_after(after.watch, edge, findings)
        if findings.failed:
            for name, detail in findings.failed.items():
                self._fail(after, name, detail)
            findings.failed.clear()
        if self.digest:
            self._digest.update(f"{[_worded(c) for c in edge.scene.cues]}".encode())

    def _hand_over(self, node: Node) -> None:
        """The crew comes and takes over: three answers, from wherever it stands."""
        todo = [node]
        for answer in ("paramedics", "taken over", "taken over"):
            event = Answered(node.scene.now, answer, answer)
            todo = [after for one in todo for after in self._happen(one, event)]
        for after in todo:
            machine = after.scene.machine
            self.found.findings.looked[HAND_OVER.name] += 1
            if not machine.closed and (machine.outcome != "handed over" or machine.call.step != "ended"):
                self._fail(after, HAND_OVER.name, f"at {machine.step!r}: {machine.outcome}, the call {machine.call.step}")
            self._arrive(after)

    def _confirm(self, asked: Node) -> None:
        """Good news waits for its second time: it comes at once, late but in time, or not."""
        again = asked.scene.machine.memory.pending or ""
        for sure in self._happen(asked, Answered(asked.scene.now, again, "")):
            self._arrive(sure)
        if self._first_at(("late", again), asked):
            self._confirm_late(asked, again)
        for unsure in self._happen(asked, None, until_unconfirmed):
            self._arrive(unsure)

    def _confirm_late(self, asked: Node, again: str) -> None:
        """Only whether it counts is looked at: where it leads is where it leads at once."""
        late = UntilNearlyTooLate(asked.scene.machine._once_more, 1000 * SECOND_TIME_S)
        for waited in self._happen(asked, None, late):
            if late.at == NEVER:
                continue
            waited.scene.happen(wait := Ticked(late.at))
            waited.events = (*waited.events, wait)
            for sure in self._happen(waited, Answered(late.at, again, "")):
                self.found.findings.looked[SECOND_TIME.name] += 1
                if sure.scene.machine.memory.pending is not None:
                    self._fail(sure, SECOND_TIME.name, f"{again!r} at {waited.scene.machine.step!r} is asked for once more")

    def _say_twice(self, answer: str, after: Node) -> None:
        """The same answer once more, where it did not lead on: what is counted is told apart by it."""
        if answer in after.scene.machine.table.stands[after.scene.machine.step].own_answers and after.scene.machine.memory.pending is None:
            for again in self._happen(after, Answered(after.scene.now, answer, answer)):
                self._arrive(again)

    def _worth_taking_back(self, before: Node, answer: str, after: Node) -> bool:
        """Each answer once at every step and moment, by where it led."""
        place = ("wrong", answer, after.scene.machine.step, self.states.moment(before.scene), before.scene.machine.step)
        return self.part.words and self._tried_once.setdefault(place, before) is before

    def _take_back(self, before: Node, after: Node) -> None:
        """ "That was wrong", said at once."""
        if any(cue.kind == "moved" and cue.machine == "care" and cue.how == "timed" for cue in after.scene.cues):
            return  # a deadline moved it as well
        for undone in self._happen(after, Answered(after.scene.now, "wrong", "")):
            undone.events = (*after.events, *undone.events)
            undone.parent = before
            self._checked_back(before, undone)
            self._arrive(undone)

    def _checked_back(self, before: Node, undone: Node) -> None:
        then, now = before.scene.machine, undone.scene.machine
        if then.memory.kept is not None:
            return  # an answer kept for the return is taken back first
        same = then.step == now.step and all(
            getattr(then.memory, name) == getattr(now.memory, name) for name in ("known", "marks", "counts", "reason", "back", "kept", "spo2")
        )
        self.found.findings.looked[UNDO.name] += 1
        if not same:
            self._fail(undone, UNDO.name, f"{then.step} is {now.step}, or memory differs")

    def _walk_again(self, node: Node) -> None:
        """A state reached by forks, reached once more from the start without one: the same cues, the same memory."""
        path = path_to(node, self.age)
        machine = self._begun(FlowMachine(self.table, self.engine), path.start, path.helper, node.facts)  # type: ignore[arg-type]
        again = Scene(machine)
        again.start()
        for event in path.events:
            if isinstance(event, int):
                for _ in range(event):
                    again.pass_time()
            else:
                again.happen(event)
        self.found.findings.looked[SAME.name] += 1
        if _bytes(again) != _bytes(node.scene):
            self._fail(node, SAME.name, f"{node.scene.machine.step!r} the first time, {machine.step!r} the second, or other cues or memory")

    # ---- states seen before

    def _arrive(self, node: Node) -> None:
        scene = node.scene
        if scene.machine.closed:
            return
        scene.machine._history = []
        scene.machine._before = None
        key = self.states.coarse(scene)
        before = self._seen.get(key)
        late = self.part.late and self._late.grows(key, node.facts, lateness(node.watch, scene.machine, scene.now), self._matters.get(key, ()))
        if before is None:
            self._seen[key] = [node.facts]
            self._arrived[key] = {node.facts}
            self._fine[key] = {self.states.fine(scene)} if self.most_moves else set()
            self._new_aspects(scene)
            self._classes.add(node.facts)
            self._fresh.append((key, node))
            self._keep_entry(node)
            return
        arrived, facts = self._arrived[key], node.facts
        if facts not in arrived:
            arrived.add(facts)
            if self._tells_apart(key, facts):
                before.append(facts)
                self._classes.add(facts)
                self._fresh.append((key, node))
                return
            self._parked.setdefault(key, []).append(node)
        if late:
            node.late = True
            self.found.late += 1
            self._fresh.append((key, node))
        elif self.part.aspects and self._new_aspects(scene):
            node.new_aspects = True
            self._fresh.append((key, node))
        elif self.most_moves and len(known := self._fine[key]) < FINE_OF_ONE_COARSE:
            fine = self.states.fine(scene)
            if fine not in known:
                known.add(fine)
                self._more.append((key, node))

    def _keep_entry(self, node: Node) -> None:
        if not self._keep_entries or node.parent is None or node.parent.parent is None:
            return
        kept = self.entries.setdefault(node.scene.machine.step, [])
        if len(kept) < ENTRIES_MOST:
            kept.append(path_to(node.parent, self.age))

    def _tells_apart(self, key: Hashable, facts: Facts) -> bool:
        """These plans differ from all that came to this state where it matters (all of it, until it is walked)."""
        matters = self._matters.get(key)
        if matters is None:
            return all(other.apart(facts) for other in self._seen[key])
        return not any(matters.isdisjoint(other.apart(facts)) for other in self._seen[key])

    def _unpark(self, key: Hashable) -> None:
        """More matters at this state than was known: those passed over are looked at again."""
        parked = self._parked.pop(key, [])
        for node in parked:
            if node.scene is None:
                continue
            if self._tells_apart(key, node.facts):
                self._seen[key].append(node.facts)
                self._fresh.append((key, node))
            else:
                self._parked.setdefault(key, []).append(node)

    def _new_aspects(self, scene: Scene) -> bool:
        """Something is remembered at this step that never was at it before."""
        step = scene.machine.step
        if step not in self._aspects:
            self._aspects[step] = (set(), set())
        known, met = self._aspects[step]
        remembered = self.states.remembered(scene)
        if remembered in met:
            return False
        met.add(remembered)
        aspects = self.states.aspects(scene)
        if known.issuperset(aspects):
            return False
        known.update(aspects)
        return True

    def _fail(self, node: Node, name: str, detail: str) -> None:
        self._failed += self.only in (None, name)
        if name not in self.found.findings.failed:
            self.found.findings.failed[name] = detail
            self.found.traces[name] = path_to(node, self.age)


def _worded(cue: Record) -> tuple[object, ...]:
    return (cue.kind, getattr(cue, "text", ""), getattr(cue, "target", ""), getattr(cue, "what", ""), cue.at_ms)


def _bytes(scene: Scene) -> bytes:
    """What came last, and all that is remembered."""
    machine, memory = scene.machine, scene.machine.memory
    remembered = (machine.step, machine.call.step, machine.outcome, sorted(memory.marks), sorted(memory.known.items()), sorted(memory.counts.items()), memory.reason, memory.back, memory.spo2)
    return repr((scene.now, [cue.to_record() for cue in scene.cues], remembered)).encode()
