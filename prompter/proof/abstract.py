"""What two moments of an emergency must have in common to count as the same state.

The coarse state is walked to the last one. The fine state adds all of memory that any row asks for; of each
coarse state several fine ones are walked, the first found first, up to a bound that is reported.
Deadlines count by which of them comes next, breaths by whether they are due soon.
"""

from collections.abc import Hashable

from prompter.flow.memory import KNOWN
from prompter.flow.table import Table
from prompter.proof.scene import Scene

CORE_MARKS = ("changing", "inserting", "on route", "pushing", "swelling")
SOON_MS = 12_000
TRIES_TOLD_APART = 4
_TROUBLE = {"unknown": "trouble", "trouble": "trouble"}


class States:
    """The keys of one flow's states."""

    def __init__(self, table: Table) -> None:
        atoms = [atom for row in table.rows for atom in row.atoms]
        self._at_once = [condition.removeprefix("not ") for condition in table.flow.call.at_once_if]
        self._marks = frozenset(atom.name for atom in atoms if atom.sort == "mark")
        self._known = tuple(k for k in KNOWN if any(a.sort == "known" and a.name == k for a in atoms))
        # Where a rescue that worked leads another way than the first one.
        self._after_rescue = frozenset(row.source for row in table.rows if any(a.sort == "count" and a.name == "rescued" for a in row.atoms))
        self._counts: dict[str, int] = {}
        for atom in atoms:
            if atom.sort == "count":
                self._counts[atom.name] = max(self._counts.get(atom.name, 0), int(atom.value))

    def coarse(self, scene: Scene) -> Hashable:
        machine = scene.machine
        memory = machine.memory
        marks, known = memory.marks, memory.known
        step, tube = machine.step, known["tube"]
        if machine.table.stands[step].visit:
            return step, self.moment(scene), tube, memory.back[-1:], len(memory.back) > 1, memory.kept is not None, "on route" in marks, machine._breaths_first
        breathing = known["breathing"]
        elsewhere = "on route" in marks or "pushing" in marks
        return (
            step, self.moment(scene), tube, _TROUBLE.get(breathing, breathing),
            tuple([mark for mark in CORE_MARKS if mark in marks and (mark != "swelling" or not elsewhere)]) if marks else (),
            "changed" in marks and "guide out" not in marks, memory.reason is not None and not elsewhere, machine._breaths_first,
            memory.counts.get("tries", 0) >= self._counts.get("tries", 1 << 30), machine.outcome if breathing == "better" else "",
            step in self._after_rescue and known["rise"] == "yes" and memory.counts.get("rescued", 0) >= 1,
        )  # fmt: skip

    def fine(self, scene: Scene) -> Hashable:
        machine = scene.machine
        memory, gap = machine.memory, machine._gap_at()
        return (
            tuple(memory.known[k] for k in self._known), frozenset(memory.marks & self._marks),
            tuple(min(memory.counts.get(c, 0), most) for c, most in self._counts.items()),
            memory.back, memory.pending, memory.kept, machine.call.step, scene.beating, scene.quiet,
            None if gap is None else gap - scene.now < SOON_MS,
            None if memory.spo2 is None else (memory.low_number(), memory.fresh_number()),
            machine._sets, machine._nobody_heard, machine._unclear, machine._clock.hold_left_ms > 0,
        )  # fmt: skip

    def remembered(self, scene: Scene) -> Hashable:
        """What `aspects` come of: the same gives the same."""
        memory = scene.machine.memory
        number = None if memory.spo2 is None else memory.low_number()
        return frozenset(memory.marks), tuple(memory.known.values()), tuple(memory.counts.items()), memory.facts if self._at_once else None, number

    def aspects(self, scene: Scene) -> list[Hashable]:
        """Each thing remembered that some row asks for."""
        memory = scene.machine.memory
        known, counts = memory.known, memory.counts
        found: list[Hashable] = [*(memory.marks & self._marks), *[(k, known[k]) for k in self._known]]
        if counts:
            found += [c for c, most in self._counts.items() if counts.get(c, 0) >= most]
        found.append(min(counts.get("tries", 0), TRIES_TOLD_APART))
        # What the call asks for at the start is decided before any step asks for it: met at each step both ways.
        decided = getattr(memory.facts, "decided", {})
        found += [(fact, decided[fact]) for fact in self._at_once if fact in decided]
        if memory.spo2 is not None:
            found.append("low number" if memory.low_number() else "fine number")
        return found

    def place(self, scene: Scene) -> Hashable:
        """Where words that only speak are tried: each step, each moment, with and without a beat."""
        machine = scene.machine
        return machine.step, self.moment(scene), scene.beating, machine.call.step == "not yet", machine._interrupted()

    def moment(self, scene: Scene) -> str:
        """While something is said or done; while the question is being asked; while silence counts."""
        machine = scene.machine
        if machine._phase == "talk":
            return "talk"
        if machine._waiting is not None or machine._clock.due() is None:
            return "asking"
        return "silent"
