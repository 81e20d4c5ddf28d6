"""Patients the tests speak of by name, and the answers that lead to a step."""

from variants import like

ALONE = like(without=("helper",), call_after_s=110)
"""No call comes between, so that times are the step's own."""


def alone(*more: str, without: tuple[str, ...] = ()):
    return like(*more, without=("helper", *without), call_after_s=110)


VENT = alone("ventilated")
CUFFED = alone("cuffed")
LISTED = alone("on tube", "inner tube")
NECK_ONLY = alone("neck only", without=("tube", "change allowed", "same spare", "smaller spare", "guide"))
NO_CHANGE = alone(without=("change allowed",))

TO_LOOK = ("in place", "passed")
TO_BAG = (*TO_LOOK, "not better")
TO_LAST_BAG = (*TO_BAG, "rising", "done", "rising", "passed")
TO_IN_HAND = ("in place", "won't pass")
TO_TUBE_OUT = (*TO_IN_HAND, "tube ready", "done")
TO_TUBE_IN = (*TO_TUBE_OUT, "done")
TO_PROVE = (*TO_TUBE_IN, "tube in", "done")
TO_BAG_AFTER = (*TO_PROVE, "passed")

OUT_LATEST_MS = 46_500
"""45 s from the tube out to breaths by the new one or another route, and a clip that has begun (the clinical brief, section 10)."""
