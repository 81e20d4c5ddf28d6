"""Joins a flow and its side flows into one document, so that one machine goes from one to the other."""

from typing import Any

from prompter.care.reading import Document
from prompter.errors import CannotDo
from prompter.flow.document import Flow, Joined, SideFlow, WayLine

_GROUPS = ("answers", "opposites", "ways", "steps")


def joined(parts: list[Flow | SideFlow], documents: list[Document]) -> Flow:
    """One flow that begins as the first of `parts` does. Raises CannotDo.

    Nothing overrides anything: a name stands in one file alone. A flow's own name becomes a way to its
    start, so `go: vomit-or-food` switches. The same for whichever of them begins, but for its start.
    """
    first = parts[0]
    base = _base(parts, documents)
    if len(parts) == 1:
        return base
    _each_once(parts, documents)
    sides = [part for part in parts if part is not base]
    order = [base, *(s for name in base.switches_to for s in sides if s.flow == name), *(s for s in sides if s.flow not in base.switches_to)]
    merged: dict[str, Any] = {group: {k: v for part in order for k, v in getattr(part, group).items()} for group in _GROUPS}
    merged["ways"] |= {part.flow: [WayLine(go=part.start)] for part in order}
    merged["trade_words"] = list(dict.fromkeys(word for part in order for word in part.trade_words))
    merged["joined"] = {p.flow: Joined(version=p.version, title=p.title, start=p.start, steps=[*p.steps]) for p in order}
    return base.model_copy(update=merged | {name: getattr(first, name) for name in ("flow", "version", "title", "start")})


def _base(parts: list[Flow | SideFlow], documents: list[Document]) -> Flow:
    """The one that the others go on in, all there and none too many."""
    bases = [part for part in parts if isinstance(part, Flow)]
    if len(bases) != 1:
        raise CannotDo("one flow is needed that the others go on in.", documents[0].file, "Give one flow without `goes_on_in`.")
    base = bases[0]
    names = {part.flow for part in parts}
    for name in base.switches_to:
        if name not in names:
            raise CannotDo(f"the flow `{name}` is missing.", documents[parts.index(base)].where(("switches_to",)), "Put its file beside this one.")
    return base


def _each_once(parts: list[Flow | SideFlow], documents: list[Document]) -> None:
    for group in _GROUPS:
        owners: dict[str, str] = {}
        for part, document in zip(parts, documents, strict=True):
            for name in getattr(part, group):
                if name in owners:
                    raise CannotDo(f"`{name}` stands in `{owners[name]}` too.", document.where((group, name)), "Give it another name.")
                owners[name] = part.flow
    for name in (part.flow for part in parts):
        if any(name in part.steps or name in part.ways for part in parts):
            raise CannotDo(f"`{name}` is a flow, and a step or a way.", documents[0].file, "Rename the step or way.")

