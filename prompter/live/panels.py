"""What stands on the screen beside the step: for the crew that has come, and for the bag afterwards."""

from prompter.care.crew import crew_lines
from prompter.care.plan import Plan
from prompter.care.supplies import supplies
from prompter.flow.machine import View
from prompter.live.shown import Panel

BAG_STEP = "debrief-bag"


def panel(view: View, plan: Plan | None, now_ms: int) -> Panel | None:
    """The panel for this moment, if there is one. `now_ms`: session time."""
    if view.step == BAG_STEP:
        return _bag(view, plan)
    return _crew(view, plan, now_ms) if view.crew else None


def ago(since_ms: int | None, now_ms: int) -> str:
    """'4 min ago'; nothing if it is not known since when."""
    if since_ms is None:
        return ""
    minutes = max(0, now_ms - since_ms) // 60_000
    return f"{minutes} min ago" if minutes else "just now"


def _crew(view: View, plan: Plan | None, now_ms: int) -> Panel:
    told = [("It began.", ago(0, now_ms))]
    told += [(text, ago(since_ms, now_ms)) for text, since_ms in view.summary]
    if view.spo2 is not None:
        told.append((f"Saturation {view.spo2} %.", ago(view.spo2_at_ms, now_ms)))
    if view.pulse is not None:
        told.append((f"Heart rate {view.pulse}.", ""))
    smaller_in = view.known.get("size") == "smaller"
    return Panel("FOR THE CREW", tuple(told), crew_lines(plan, smaller_in) if plan is not None else ("No care plan was found.",))


def _bag(view: View, plan: Plan | None) -> Panel | None:
    """All that is used up and belongs into the bag. What was surely used is said aloud by the flow."""
    if plan is None:
        return None
    used = [f"{s.name}: {s.detail}" if s.detail else s.name for s in supplies(plan) if s.after_use]
    half = (len(used) + 1) // 2
    return Panel("FOR THE BAG, IF USED", tuple((text, "") for text in used[:half]), tuple(used[half:]))
