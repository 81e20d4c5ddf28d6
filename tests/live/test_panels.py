"""What the crew reads beside the step: the summary with its times, and the plan's facts; and what belongs into the bag."""

from functools import cache
from pathlib import Path

import pytest
from rich.console import Console

from prompter.care.plan import load_plan
from prompter.events import Answered, PromptEnded, Say, Started, Ticked
from prompter.flow.document import Flow
from prompter.flow.machine import FlowMachine
from prompter.flow.reading import load_flow
from prompter.flow.table import Variant, build
from prompter.live.layout import picture
from prompter.live.panels import ago, panel
from prompter.live.screen import lines
from prompter.live.shown import Panel, Shown
from prompter.resources import flow_file

PLANS = Path(__file__).parents[2] / "shared"
DEMO = load_plan(PLANS / "demo-plan.yaml")


@cache
def flow() -> Flow:
    """Read once; a machine does not change it."""
    return load_flow(flow_file("breathing-trouble"))


class Told:
    """A machine whose prompts end at once, answered by words and by time."""

    def __init__(self, plan=DEMO) -> None:
        self.plan, self.now = plan, 0
        self.machine = FlowMachine(build(flow(), Variant(plan.facts(), plan.spoken(), plan.numbers())))
        self._feed(Started(0))

    def _feed(self, event) -> None:
        for cue in self.machine.feed(event):
            if isinstance(cue, Say):
                self._feed(PromptEnded(self.now, cue.cue))

    def says(self, *answers: str) -> "Told":
        for answer in answers:
            self.now += 500
            self._feed(Answered(self.now, answer, answer))
        return self

    def to(self, at_s: float) -> "Told":
        self.now = int(at_s * 1000)
        self._feed(Ticked(self.now))
        return self

    def panel(self, plan="the same") -> Panel | None:
        return panel(self.machine.view(), self.plan if plan == "the same" else plan, self.now)


def changed() -> Told:
    return Told().says("in place", "done", "won't pass", "tube ready", "done", "done", "tube in", "done", "passed")


def drawn(shown: Shown, columns: int, rows: int) -> list[str]:
    console = Console(width=columns, color_system=None, legacy_windows=False, force_terminal=True)
    return ["".join(s.text for s in line) for line in console.render_lines(picture(shown, columns, rows), pad=False)]


def test_nothing_stands_there_before_a_crew_has_come() -> None:
    told = changed()
    assert told.panel() is None
    assert told.says("paramedics").panel() is not None


def test_the_crew_reads_what_happened_and_how_long_ago() -> None:
    told = changed().to(4 * 60 + 10)
    sentences = told.says("paramedics").panel().sentences
    assert "It began, 4 min ago." in sentences
    assert "A new tube is in, 4 min ago." in sentences
    assert "Breathes through a neck tube." in sentences


def test_it_stays_after_the_crew_has_taken_over() -> None:
    told = Told().says("in place", "paramedics", "taken over", "taken over")
    assert told.machine.step == "handed-over" and told.panel().title == "FOR THE CREW"


def test_the_facts_are_the_plans() -> None:
    facts = Told().says("paramedics").panel().facts
    assert facts[:3] == ("Juno, child, 14 kg", "Mouth and nose lead to the lungs", "Usual tube: 4.5 mm inside, no cuff")
    assert "Spares at home: 4.5 and 4 mm" in facts and "Suction: 8 Fr, 9 cm deep" in facts and "Doctor Imre Vale, 555-0163" in facts
    assert Told().says("paramedics").panel(plan=None).facts == ("No care plan was found.",)


@pytest.mark.parametrize("file", sorted((PLANS / "plans").glob("*.yaml")), ids=lambda f: f.stem)
def test_every_plan_has_its_facts(file: Path) -> None:
    plan = load_plan(file)
    told = Told(plan).says("paramedics").panel()
    text = " ".join(told.facts)
    assert (plan.airway.way_to_lungs == "none") == ("NECK-ONLY" in text)
    assert "None" not in text


@pytest.mark.parametrize(("since", "now", "text"), [(None, 9, ""), (0, 59_999, "just now"), (0, 60_000, "1 min ago"), (5_000, 245_000, "4 min ago")])
def test_how_long_ago(since, now, text) -> None:
    assert ago(since, now) == text


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (120, 40), (200, 60)])
@pytest.mark.parametrize("over", [False, True])
def test_all_of_it_stands_in_an_ordinary_window(columns: int, rows: int, over: bool) -> None:
    told = changed().to(100).says("paramedics", *(["taken over", "taken over"] if over else []))
    view = told.machine.view()
    shown = Shown(
        view.title, view.prompt, tuple((k, w) for k, _, w in view.own_keys), tuple((k, w) for k, _, w in view.everywhere_keys),
        (("call", view.call), ("microphone", "listening"), ("sound", "on")), panel=told.panel(),
    )  # fmt: skip
    seen = drawn(shown, columns, rows)
    assert len(seen) <= rows
    text = " ".join(" ".join(seen).split())
    assert "FOR THE CREW" in text
    for line in (*shown.panel.sentences, *shown.panel.facts):
        assert line.split()[0] in text and line.split()[-1] in text


def test_a_narrow_window_has_one_below_the_other() -> None:
    shown = Shown("Look", "Lips?", panel=Panel("FOR THE CREW", (("A new tube is in.", "4 min ago"),), ("Juno, child, 14 kg",)))
    seen = [line.strip() for line in drawn(shown, 50, 40)]
    assert seen.index("A new tube is in, 4 min ago.") + 1 == seen.index("Juno, child, 14 kg")


def test_without_a_terminal_each_line_is_printed_once() -> None:
    first = Shown(panel=Panel("FOR THE CREW", (("A new tube is in.", "just now"),), ("Juno",)))
    later = Shown(panel=Panel("FOR THE CREW", (("A new tube is in.", "1 min ago"), ("Saline went in.", "")), ("Juno",)))
    assert lines(Shown(), first) == ["PANEL  A new tube is in, just now.", "PANEL  Juno"]
    assert lines(first, later) == ["PANEL  Saline went in."]


def test_afterwards_the_bags_supplies_stand_there() -> None:
    told = Told().says("in place", "paramedics", "taken over", "taken over", "finished", "close it")
    assert told.machine.step == "debrief-bag"
    found = told.panel()
    text = " ".join((*found.sentences, *found.facts))
    assert "suction catheters: 8 Fr" in text and "spare tube: 4.5 mm" in text and "oximeter" not in text
