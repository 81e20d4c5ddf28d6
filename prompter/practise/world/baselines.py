"""What the flow is compared with: a card followed from memory, and the flow that only answers move."""

from collections.abc import Iterator
from random import Random

from prompter.flow.document import Flow
from prompter.practise.world.case import draw, plan_of
from prompter.practise.world.eyes import Eyes
from prompter.practise.world.hands import Hands
from prompter.practise.world.outcome import Outcome, outcome_of_card
from prompter.practise.world.parameters import Parameters
from prompter.practise.world.phone import Phone
from prompter.practise.world.timeline import Timeline

LIMIT_MS, WELL_MS, WATCH_MS = 20 * 60_000, 30_000, 2_000
CYCLE_BREATHS, LONG_BREATHS = 4, 10
"""Bag breaths of a rescue cycle, and while nothing else is to be done. Common practice, no source."""

TRIES_MOST = 3
SEES_GUIDE = 0.5
"""A guide that keeps air out is noticed at a flat chest. Assumed."""


def answers_only(flow: Flow) -> Flow:
    """The same flow without its silence: no repeated question, no assumed branch, no due breaths.

    What follows by itself after a prompt or a counted beat stays, and so does the call beside it.
    """
    steps = {name: step.model_copy(update={"silent": []}) for name, step in flow.steps.items()}
    rules = flow.rules.model_copy(update={"breath_gap": []})
    return flow.model_copy(update={"steps": steps, "rules": rules})


class Card:
    """One caregiver who has learned a printed card with the flow's own order, and now remembers it."""

    def __init__(self, seed: int, p: Parameters) -> None:
        self.p, self.case = p, draw(seed, p)
        self._rng = Random(f"{seed} card")
        plan = plan_of(p.tables["patients"][self.case.kind])
        self._facts = plan.facts()
        self._breath_ms = int(60_000 / plan.numbers()["breaths_per_minute"] / p["card.pace_factor"])
        self._timeline = Timeline()
        self.hands = Hands(self.case, p, self._rng)
        self._eyes = Eyes(self.hands, p, self._rng, False, self.case.panic)
        self.phone = Phone(self.case, p, self._rng, self._timeline, lambda: None, self._crew, lambda: None)
        self._recalled: dict[str, bool] = {}
        self._ended: str | None = None
        self._well_since: int | None = None
        self._tries = self._cycles = 0

    def run(self) -> Outcome:
        care, timeline = self._care(), self._timeline
        timeline.after(0, self._go_on, care)
        timeline.after(WATCH_MS, self._watch)
        while self._ended is None and timeline.next_at <= LIMIT_MS:
            timeline.step()
        self.case.patient.advance(timeline.now)
        return outcome_of_card(self, self._ended or "still going on")

    def _go_on(self, care: Iterator[int]) -> None:
        self._timeline.after(max(100, next(care)), self._go_on, care)

    def _crew(self) -> None:
        self._ended = "handed over"

    def _watch(self) -> None:
        now, patient, air = self._timeline.now, self.case.patient, self.case.airway
        self._timeline.after(WATCH_MS, self._watch)
        patient.advance(now)
        if air.may_slip() and self._rng.random() < self.p["airway.slips_out_a_minute"] * WATCH_MS / 60_000:
            air.pull_out()
        if not patient.well():
            self._well_since = None
        elif self._well_since is None:
            self._well_since = now
        elif now - self._well_since >= WELL_MS:
            self._ended = "better"

    # ---- the card

    def _recalls(self, step: str) -> bool:
        """Missed with the published rate; a missed step may come back to mind the next time."""
        chance = 1 - self.p["card.missed"] if step not in self._recalled else self.p["card.recalled_later"]
        if not self._recalled.get(step):
            self._recalled[step] = self._rng.random() < chance
        return self._recalled[step]

    def _care(self) -> Iterator[int]:
        yield self.case.frozen_ms
        while True:
            if self.phone.connected_ms is None and self._recalls("call"):
                self.phone.asked()
                yield 0 if self.case.helper else 5_000
            air = self.case.airway
            where = self._sees("tube") if air.has_tube else "in place"
            yield self._think_ms()
            if where == "halfway":
                yield from self._do("pull out")
            if air.has_tube and air.tube == "out":
                yield from self._new_tube()
            elif (yield from self._looks_well()):
                yield 10_000
            else:
                yield from self._cycle()

    def _cycle(self) -> Iterator[int]:
        air, self._cycles = self.case.airway, self._cycles + 1
        for action, there in (("vent off", bool(air.ventilator)), ("lid off", air.lid_on), ("inner out", air.inner_in)):
            if there:
                yield from self._if_recalled(action)
        for action in ("suction", "suction again"):
            if self._recalls(action):
                yield from self._do(action)
                if self._sees("passed") == "won't pass" and (yield from self._change()):
                    return
            if action == "suction":
                if "inner needed for bag" in self._facts:
                    yield from self._if_recalled("inner in")
                if self.case.helper or "oxygen" in self._facts:
                    yield from self._if_recalled("oxygen on")
                flat = yield from self._bag(CYCLE_BREATHS)
                if flat and "change at once" in self._facts and (yield from self._change()):
                    return
                if "saline" in self._facts:
                    yield from self._if_recalled("saline")
                yield from self._bag(CYCLE_BREATHS)
        if (yield from self._bag(LONG_BREATHS)):
            yield from self._change()

    def _change(self) -> Iterator[int]:
        """True if it was done."""
        if "tube" not in self._facts or self._tries >= TRIES_MOST or not self._recalls("change"):
            return False
        yield from self._do("fetch tube")
        if self.case.airway.cuff_full:
            yield from self._if_recalled("cuff empty")
        yield from self._do("ties off")
        yield from self._do("pull out")
        yield from self._new_tube()
        return True

    def _new_tube(self) -> Iterator[int]:
        air = self.case.airway
        while air.tube == "out" and self._tries < TRIES_MOST:
            self._tries += 1
            yield from self._do("insert" if self._tries == 1 else "insert smaller")
            if air.tube == "out":
                continue
            for action in ("guide out", *(("inner in",) if "inner needed for bag" in self._facts else ()), "cuff fill", "catheter check"):
                if action != "cuff fill" or air.cuffed:
                    yield from self._if_recalled(action)
            flat = yield from self._bag(CYCLE_BREATHS)
            if flat and air.guide_in and self._rng.random() < SEES_GUIDE:
                yield from self._do("guide out")
                flat = yield from self._bag(CYCLE_BREATHS)
            if flat and self._recalls("wrong place"):
                yield from self._do("pull out")
        if air.tube == "out":
            yield from self._bag(LONG_BREATHS)
        else:
            yield from self._if_recalled("tie")

    def _bag(self, breaths: int) -> Iterator[int]:
        """Breaths by the way that is left; True if the chest is seen to stay flat."""
        air = self.case.airway
        if not self._recalls("bag"):
            return False
        route = "bag on"
        if not air.has_tube:
            route = "mask neck"
        elif air.tube == "out":
            route = "mask mouth" if self.case.helper and air.way == "open" else "mask neck"
        if not self.hands.done_already(route):
            yield from self._do(route)
        for _ in range(breaths):
            yield self._breath_ms
            self.hands.squeeze(self._timeline.now)
        return self._sees("rising") == "flat"

    # ---- small things

    def _do(self, action: str) -> Iterator[int]:
        if self.hands.done_already(action):
            return
        self.hands.begin(action)
        yield self.hands.lasts_ms(action)
        self.hands.finish(action, self._timeline.now)

    def _if_recalled(self, action: str) -> Iterator[int]:
        if self._recalls(action):
            yield self._think_ms()
            yield from self._do(action)

    def _think_ms(self) -> int:
        p = self.p
        return int(1000 * p["card.think_s"] * (1 + self.case.panic) * self._rng.lognormvariate(0, p["person.spread"]))

    def _sees(self, question: str) -> str:
        self.case.patient.advance(self._timeline.now)
        truth = self._eyes.truth(question)
        return "" if truth is None else self._eyes.report(truth)

    def _looks_well(self) -> Iterator[int]:
        yield 2_000
        return self._sees("moving by itself") == "rising" and self._sees("lips") == "better"
