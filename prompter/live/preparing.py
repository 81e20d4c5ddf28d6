"""Plan and protocol for this emergency: the plan there is, or none, but never a wait or a refusal."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from prompter.care import place
from prompter.care.approval import plan_standing
from prompter.care.plan import Plan, for_no_plan, load_plan
from prompter.errors import CannotDo
from prompter.flow.family import family_text, least_approved
from prompter.flow.reading import load_flow
from prompter.flow.table import Table, Variant, build
from prompter.live import last_resort, notices
from prompter.resources import flow_file

FLOW = "breathing-trouble"


@dataclass(frozen=True)
class Prepared:
    """`plan_trouble`: why there is no plan, empty if there is one. `cache`: None if there is none."""

    table: Table
    plan: Plan | None
    plan_name: str | None
    plan_text: str | None
    plan_trouble: str
    flow_text: str
    cache: Path | None

    def approval(self) -> dict[str, str]:
        """How plan and protocol stand today, for the journal. Reads small files."""
        today = date.today()
        found = {"flow": least_approved(flow_file(FLOW), today)[1].says}
        if self.plan and self.plan_name:
            found["plan"] = plan_standing(self.plan, Path(self.plan_name), today).says
        return found


def prepare(plan_file: Path | None) -> Prepared:
    """Reads plan and protocol. Never raises for a plan; the demonstration plan is never used."""
    path = plan_file or place.plan_file()
    plan, trouble = _plan(path)
    facts, words, numbers = (plan.facts(), plan.spoken(), plan.numbers()) if plan else for_no_plan()
    flow_path = flow_file(FLOW)
    return Prepared(
        table=build(load_flow(flow_path), Variant(facts, words, numbers)),
        plan=plan,
        plan_name=str(path) if plan else None,
        plan_text=_text(path) if plan else None,
        plan_trouble=trouble,
        flow_text=family_text(flow_path),
        cache=cache_folder(),
    )


def every_prompt(table: Table) -> list[str]:
    """All that may be said in this emergency; first what is needed when something fails."""
    first = [*last_resort.texts(), *notices.texts()]
    return list(dict.fromkeys([*first, *table.texts(), *map(table.continuing, table.stands)]))


def cache_folder() -> Path | None:
    """Where clips are kept; None if no folder can be made (they are made in memory then)."""
    try:
        return place.cache_folder()
    except CannotDo:
        return None


def _plan(path: Path) -> tuple[Plan | None, str]:
    try:
        plan = load_plan(path)
    except CannotDo as error:
        return None, error.one_line().splitlines()[0]
    except Exception as error:  # noqa: BLE001 - whatever a file holds, the emergency begins
        return None, f"{path}: the plan cannot be read ({type(error).__name__}: {error})"
    if plan.demonstration:
        return None, f"{path}: this is an invented demonstration plan. Mend: prompter plan new"
    return plan, ""


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, ValueError):
        return None
