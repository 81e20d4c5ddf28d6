"""The diagram's content, taken from the table alone: boxes, arrows between them, and what leads elsewhere."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from prompter.flow.call import ROWS, STEPS
from prompter.flow.table import BACK_TO, STAY, Row, Spoken, Stand, Table
from prompter.papers.parts import parts

BACK = "back"


@dataclass(frozen=True)
class Line:
    """One line of a box. `sort`: 'said' (spoken), 'asked', 'beat', 'goes' (along an arrow of the
    picture), 'leads' (to another picture)."""

    text: str
    sort: str


@dataclass(frozen=True)
class Box:
    """One step. `key` is unique in the picture; `sort`: 'step', 'start', 'part', 'end'."""

    key: str
    title: str
    lines: tuple[Line, ...] = ()
    sort: str = "step"


@dataclass(frozen=True)
class Arrow:
    """From box to box, by keys; `labels` is what leads along it (the source box tells it as well)."""

    source: str
    target: str
    labels: tuple[str, ...] = ()


@dataclass
class Picture:
    """One picture, or one page of one. `number`: of the part, as other parts name it."""

    title: str
    number: str
    boxes: list[Box] = field(default_factory=list)
    arrows: list[Arrow] = field(default_factory=list)
    leaving: list[Arrow] = field(default_factory=list)
    """To boxes of other pictures: named in the boxes' lines, not drawn."""


def care_pictures(table: Table, flow_text: str) -> list[Picture]:
    """One picture a part of the flow, the overview of the parts first, numbered as they refer to each other.

    Of a side flow only its own steps: what it goes on in is named.
    """
    drawn = [name for name in table.flow.covered_steps if name in table.stands]
    found = parts(flow_text, drawn, table.flow.title)
    number_of = {step: f"{body.title}:" for body in table.flow.joined.values() for step in body.steps}
    number_of |= {step: str(n) for n, (_, steps) in enumerate(found, 1) for step in steps}
    rows = [row for row in _own_rows(table) if row.source in set(drawn)]
    pages = [_part(table, rows, title, str(n), steps, number_of) for n, (title, steps) in enumerate(found, 1)]
    return [_overview(table, rows, found, number_of), *pages, everywhere_picture(table, number_of)]


def call_picture(table: Table) -> Picture:
    """The emergency call, the other machine."""
    call = table.flow.call
    after = f"{table.variant.numbers['call_after_s']:g} s"
    words = {
        "due": f"due: {after} after the start, or at once for a reason", "restart": "getting worse", "ended": "they have taken over",
    }  # fmt: skip
    asks = [Line(f"“{s.text}”", "said") for s in table.call_ask[:1]]
    said = {
        "asked": [*asks, Line(f"reminds every {call.reminder_s:g} s", "beat")],
        "no phone": [
            Line(f"“{call.remind_without_phone}”", "said"),
            Line(f"reminds every {call.reminder_without_phone_s:g} s", "beat"),
        ],
        "on speaker": [Line(f"“{s.text}”", "said") for s in table.on_speaker],
    }  # fmt: skip
    arrows: dict[tuple[str, str], list[str]] = {}
    for trigger, sources, target in ROWS:
        for source in [sources] if isinstance(sources, str) else sources:
            if target not in (None, source):
                taught = table.flow.answers.get(trigger)
                label = words.get(trigger) or (taught.wordings[0] if taught else trigger)
                arrows.setdefault((source, str(target)), []).append(label)
    boxes = []
    for step in STEPS:
        goes = [Line(f"{', '.join(ls)} → “{_capital(t)}”", "goes") for (s, t), ls in arrows.items() if s == step]
        boxes.append(Box(step, _capital(step), (*said.get(step, ()), *goes), "start" if step == STEPS[0] else "step"))
    return Picture("The emergency call, beside care", "call", boxes, [Arrow(s, t, tuple(ls)) for (s, t), ls in arrows.items()])


def everywhere_picture(table: Table, number_of: dict[str, str]) -> Picture:
    """What works at every step: a box an answer, without arrows, for it begins anywhere."""
    first = next(iter(table.stands))
    boxes: list[Box] = []
    rows = [row for row in table.rows if row.everywhere]
    for answer in dict.fromkeys(row.trigger for row in rows):
        source = next((r.source for r in rows if r.trigger == answer and r.source == first), None)
        mine = [r for r in rows if r.trigger == answer and r.source == (source or r.source)]
        targets = dict.fromkeys(row.target for row in mine if row.target not in (STAY, BACK))
        lines = [Line(f"→ {number_of[t]} “{table.stands[t].title}”", "leads") for t in targets]
        lines = list(dict.fromkeys(lines))
        lines += [Line(f"“{text}”", "said") for text in dict.fromkeys(s.text for row in mine for s in row.say)]
        twice = " (said twice)" if any(row.confirm for row in mine) else ""
        wording = table.flow.answers[answer].wordings[0]
        boxes.append(Box(answer, f"“{wording}”{twice}", tuple(lines) or (Line("stays where it is", "beat"),)))
    return Picture("Works at every step", "any", boxes)


# ---- one part ------------------------------------------------------------------------------------


def _own_rows(table: Table) -> list[Row]:
    """Without what works everywhere, what comes back from a visit, and the breaths due (see the rules)."""
    return [r for r in table.rows if not r.everywhere and not r.trigger.startswith(BACK_TO) and r.trigger != "gap" and r.target != STAY]


def _part(table: Table, rows: list[Row], title: str, number: str, steps: list[str], number_of: dict[str, str]) -> Picture:
    picture = Picture(title, number)
    inside = set(steps)
    for name in steps:
        stand = table.stands[name]
        mine = [row for row in rows if row.source == name]
        lines = list(_spoken_lines(stand))
        for labels, targets in _by_answer(table, stand, mine):
            places = [_place(table, target, inside, number_of) for target in targets]
            where = places[-1].partition(": “")[0] + ": " if ": “" in places[-1] else " "
            other = f", or as known {', '.join(place.removeprefix(where) for place in places[:-1])}" if places[1:] else ""
            sort = "goes" if inside.issuperset(targets) else "leads"
            lines.append(Line(f"{', '.join(labels)} → {places[-1]}{other}", sort))
        for target, names in _by_target(table, stand, mine).items():
            if target not in (BACK, name):
                (picture.arrows if target in inside else picture.leaving).append(Arrow(name, target, tuple(names)))
        sort = "start" if name == next(iter(table.stands)) else "end" if stand.final else "step"
        picture.boxes.append(Box(name, stand.title, tuple(lines), sort))
    return picture


def _spoken_lines(stand: Stand) -> Iterable[Line]:
    for spoken in (*stand.say, *stand.then_say):
        yield Line(_said(spoken), "said")
    if stand.beat:
        count = f" {stand.beat_count}" if stand.beat_count else ""
        seconds = " seconds" if stand.beat == "suction" and count else ""
        yield Line(f"beat: {stand.beat}{count}{seconds}{', by mask' if stand.through_mask else ''}", "beat")
    for spoken in stand.ask:
        yield Line(_said(spoken), "asked")
        if spoken.guard is None:
            break  # the first that holds is asked


def _said(spoken: Spoken) -> str:
    return f"“{spoken.text}”" + (" (?)" if spoken.guard else "")


def _place(table: Table, target: str, inside: set[str], number_of: dict[str, str]) -> str:
    if target == BACK:
        return "back to where it was"
    title = f"“{table.stands[target].title.rstrip('.')}”"
    return title if target in inside else f"{number_of[target]} {title}"


def _by_answer(table: Table, stand: Stand, rows: list[Row]) -> list[tuple[list[str], tuple[str, ...]]]:
    """(answers, where they lead): those that lead the same ways together; the last way is the usual one."""
    ways: dict[str, dict[str, None]] = {}
    for row in rows:
        targets = ways.setdefault(_trigger(table, stand, row), {})
        targets.pop(row.target, None)
        targets[row.target] = None
    found: dict[tuple[str, ...], list[str]] = {}
    for label, targets in ways.items():
        found.setdefault(tuple(targets), []).append(label)
    return [(labels, targets) for targets, labels in found.items()]


def _by_target(table: Table, stand: Stand, rows: list[Row]) -> dict[str, list[str]]:
    """Where the rows lead, each with what leads there; "?" after what leads there only under conditions."""
    found: dict[str, dict[str, bool]] = {}
    for row in rows:
        label = _trigger(table, stand, row)
        labels = found.setdefault(row.target, {})
        labels[label] = labels.get(label, True) and bool(row.atoms)
    return {t: [f"{label}{'?' if sometimes else ''}" for label, sometimes in ls.items()] for t, ls in found.items()}


def _trigger(table: Table, stand: Stand, row: Row) -> str:
    if row.trigger == "after":
        return "then"
    if row.trigger == "silent":
        acts = sorted({quiet.act_ms for quiet in stand.quiet if quiet.act_ms})
        return f"silence {' or '.join(f'{ms / 1000:g}' for ms in acts)} s"
    answer = table.flow.answers.get(row.trigger)
    return (answer.wordings[0] if answer else row.trigger) + (" twice" if row.confirm else "")


def _overview(table: Table, rows: list[Row], found: list[tuple[str, list[str]]], number_of: dict[str, str]) -> Picture:
    picture = Picture(f"{table.flow.title}: the parts", "0")
    for n, (title, steps) in enumerate(found, 1):
        count = f"{len(steps)} step{'s' if len(steps) != 1 else ''}"
        picture.boxes.append(Box(str(n), f"{n} {title}", (Line(count, "beat"),), "part"))
    elsewhere = dict.fromkeys(number_of[r.target] for r in rows if r.target != BACK)
    picture.boxes += [Box(name, name.rstrip(":"), (), "end") for name in elsewhere if not name.isdigit()]
    pairs = dict.fromkeys(
        (number_of[row.source], number_of[row.target]) for row in rows if row.target != BACK
    )
    picture.arrows = [Arrow(source, target) for source, target in pairs if source != target]
    return picture


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
