"""What may be said at each step, taken from the flow itself, and talk that is no answer.

Every plan that comes with the program makes its own variant of the flow; a `Place` is a step of
one, with the phrases that the machine allows there.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from prompter.care.plan import for_no_plan, load_plan
from prompter.events import Phrase
from prompter.flow.reading import load_flow
from prompter.flow.table import Table, Variant, build
from prompter.resources import flow_file, shared_file
from prompter.wordings.opposites import opposite_answers

OWN_SHARE = 2 / 3
"""Of the phrases drawn, those that answer the step's own question; the rest work everywhere."""

VISIT_SHARE = 0.15
"""Of the places drawn, visits (due breaths and the like), with the answers of the step left."""


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """A step as it is listened at. `own`: answers to its question (at a visit, to both)."""

    plan: str
    step: str
    interrupted: str | None
    allowed: tuple[Phrase, ...]
    own: frozenset[str]
    asks_number: bool

    @property
    def name(self) -> str:
        return self.step if self.interrupted is None else f"{self.step} from {self.interrupted}"


@cache
def tables() -> dict[str, Table]:
    """The flow for each plan that comes with the program, and for none."""
    flow = load_flow(flow_file("breathing-trouble"))
    found = {"no plan": build(flow, Variant(*for_no_plan()))}
    for path in [shared_file("demo-plan.yaml"), *sorted(shared_file("plans").glob("*.yaml"))]:
        plan = load_plan(path)
        found[path.stem] = build(flow, Variant(plan.facts(), plan.spoken(), plan.numbers()))
    return found


@cache
def places(plan: str, visits: bool = False) -> tuple[Place, ...]:
    """Steps that ask something; with `visits` those that a visit has interrupted."""
    table = tables()[plan]
    if not visits:
        names = [(name, None) for name, stand in table.stands.items() if not stand.visit]
    else:
        names = list(dict.fromkeys(
            (row.target, row.source) for row in table.rows
            if row.target in table.stands and table.stands[row.target].visit
            and not table.stands[row.source].visit and not table.stands[row.source].beat
        ))  # fmt: skip
    found = [_place(plan, table, step, interrupted) for step, interrupted in names]
    return tuple(place for place in found if place.own)


def _place(plan: str, table: Table, step: str, interrupted: str | None) -> Place:
    own = [*table.stands[step].own_answers]
    own += table.stands[interrupted].own_answers if interrupted else ()
    return Place(
        plan, step, interrupted, table.phrases(step, interrupted),
        frozenset(own) & table.flow.answers.keys(),
        "number fine" in table.stands[interrupted or step].own_answers,
    )  # fmt: skip


def draw_place(rng: np.random.Generator) -> Place:
    """A place by chance: the plan, then the step."""
    plan = list(tables())[int(rng.integers(len(tables())))]
    visits = places(plan, visits=True)
    some = visits if visits and rng.random() < VISIT_SHARE else places(plan)
    return some[int(rng.integers(len(some)))]


def draw(rng: np.random.Generator) -> tuple[Place, Phrase]:
    """A place, and something that may be said there: first the answer, then its wording."""
    place = draw_place(rng)
    own = rng.random() < OWN_SHARE
    answers = list(dict.fromkeys(
        p.answer for p in place.allowed if (p.answer in place.own) == own
    ))  # fmt: skip
    answer = answers[int(rng.integers(len(answers)))]
    some = [p for p in place.allowed if p.answer == answer]
    return place, some[int(rng.integers(len(some)))]


def allowed_at_a_step(answer: str | None, rng: np.random.Generator) -> tuple[Phrase, ...]:
    """What a real step allows: one that allows `answer`; None: any step."""
    while True:
        place = draw_place(rng)
        if answer is None or any(p.answer == answer for p in place.allowed):
            return place.allowed


@cache
def known() -> tuple[Phrase, ...]:
    """Every wording of the flow, as the live program makes it known to the hearing."""
    return next(iter(tables().values())).all_phrases


def phrases(answers: list[str] | None = None) -> list[Phrase]:
    """All wordings of these answers (of all when None)."""
    return [p for p in known() if answers is None or p.answer in answers]


def swapped(said: str, heard: str) -> bool:
    """Whether an answer was turned into one that the flow names as its opposite, or bad news into good or good into bad."""
    flow = next(iter(tables().values())).flow
    if frozenset((said, heard)) in opposite_answers(flow):
        return True
    answers = flow.answers
    news = {answers[a].news for a in (said, heard) if a in answers}
    return {"good", "bad"} <= news


OTHER_TALK = [
    "let me get my coat", "where is the car", "can you open the window", "the dog is barking",
    "I think it is raining", "what time is dinner", "put the kettle on", "did you feed the cat",
    "she had a good day at school", "the neighbour is coming", "turn the light on please",
    "where are my glasses", "it is on the kitchen table", "we need more milk", "come over here",
    "mind the step", "hello who is this", "yes I am her mother", "give me a second",
    "what is your name", "the number is on the fridge", "go and wait outside", "look at me darling",
    "it's okay sweetheart", "oh my god", "please hurry up", "is somebody there", "I don't know",
    "what did you say", "just a minute", "take it out", "is it in", "is it going up",
    "the ambulance is nearly here", "it's ringing", "is she breathing", "is she better yet",
    "no she is not breathing fine", "it did not come out", "she isn't crying", "where is the bag",
    "is there any blood", "can you find the spare tube", "is the oxygen on", "do not call yet",
    "has it gone in", "are you on the line", "how long has she been blue",
]  # fmt: skip
"""Sentences that are no answer, many of them near to one: questions, denials, requests."""
