"""Another way in for air, when the tube is out or given up: there is always a second one."""

from prompter.proof.properties.property import Property
from prompter.proof.watch import Edge, Findings, Watch

BY_MOUTH, BY_NECK, NECK_ONLY = "mouth-mask", "neck-mask", "neck-only-mask"
ROUTES = frozenset({BY_MOUTH, BY_NECK, NECK_ONLY})
TRIES = 2

SECOND = Property("a second route", "open and hard airways: a chest that stays flat twice by one route gets the other", "McGrath et al., Anaesthesia 2012;67:1025; twice: common practice", TRIES, "times")
ONLY_NECK = Property("neck-only stays at the neck", "no air comes by mouth or nose", "McGrath et al., Anaesthesia 2012;67:1025")

PROPERTIES = (SECOND, ONLY_NECK)


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    for moved in edge.moves:
        if moved.target in ROUTES:
            found.check(ONLY_NECK.name, (moved.target == NECK_ONLY) == ("neck only" in edge.facts), f"{moved.source!r} leads to {moved.target!r}")
    if edge.answer == "flat" and edge.source in ROUTES:
        said = watch.route_flat + 1
        if edge.moves:
            other = edge.moves[0].target in ROUTES - {edge.source}
            found.measure(SECOND.name, said if other else TRIES + 1, TRIES, f"chest flat at {edge.source!r} leads to {edge.moves[0].target!r}")
        elif edge.source != NECK_ONLY:
            found.measure(SECOND.name, said if said < TRIES else TRIES + 1, TRIES, f"chest flat said {said} times at {edge.source!r}, and no other route")
        watch.route_flat = 0 if edge.moves else said
    elif edge.moves or edge.answer in ("rising", "wrong"):
        watch.route_flat = 0
