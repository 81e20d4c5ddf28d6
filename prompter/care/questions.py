"""The questions of `prompter plan new`: plain words, and why each is asked."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

Values = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Question:
    """`path`: the field it fills. `when`: whether it is asked, given the answers so far.

    `usual`: what an empty answer means, as it would be typed.
    """

    path: str
    words: str
    why: str
    when: Callable[[Values], bool] = lambda _: True
    usual: str | None = None


def _tube(values: Values) -> bool:
    return bool(values.get("tube"))


def _cuff(values: Values) -> bool:
    return _tube(values) and values.get("tube.cuff") != "none"


def _home_change(values: Values) -> bool:
    return _tube(values) and bool(values.get("tube.change_allowed_at_home"))


def _oxygen(values: Values) -> bool:
    return bool(values.get("oxygen"))


Q = Question
QUESTIONS: tuple[tuple[str, tuple[Question, ...]], ...] = (
    (
        "The patient",
        (
            Q("patient.name", "Short name?", "It is said aloud, so one or two words."),
            Q(
                "patient.age_group",
                "Infant (under 1 year), child (to puberty) or adult?",
                "It sets how fast to breathe and push, and the limits of suction.",
            ),
            Q("patient.weight_kg", "Weight in kilograms?", "The paramedics ask for it."),
            Q(
                "patient.resting_breaths_a_minute",
                "Breaths in one minute, at rest?",
                "The clinician compares with it afterwards. Count while the patient sleeps.",
            ),
            Q("patient.oximeter", "Is there an oximeter at home? (yes, no)", "Its number is asked for."),
            Q(
                "patient.usual_saturation",
                "Usual oxygen number, in percent? (none if never measured)",
                "It shows what is good for this patient.",
            ),
            Q(
                "patient.act_below_saturation",
                "Below which oxygen number must you act? (none if never measured)",
                "Under it the prompter never goes over to watching.",
            ),
            Q("patient.why_the_tube", "Why the tube or hole in the neck?", "For the paramedics."),
        ),
    ),
    (
        "The way above the neck",
        (
            Q(
                "airway.way_to_lungs",
                "From mouth and nose to the lungs, is the way open, hard, or none?",
                "It decides where breaths are given when no tube is in. Ask the clinician.",
            ),
            Q(
                "airway.can_breathe_through_mouth_or_nose",
                "If the neck hole were shut, could air come by mouth or nose? (yes, partly, no)",
                "The same thing again in other words: a mistake here is dangerous.",
            ),
        ),
    ),
    (
        "The tube",
        (
            Q("tube", "Is there a tube in the neck? (yes, no)", "Without one, nothing is changed."),
            Q(
                "tube.inside_mm",
                "Inside diameter of the tube, in millimetres?",
                "The suction catheter must leave room in it. It is printed on the tube.",
                _tube,
            ),
            Q(
                "tube.cuff",
                "The cuff: none, air or water?",
                "A cuff is emptied before a change and filled after it.",
                _tube,
            ),
            Q("tube.cuff_ml", "How many millilitres fill the cuff?", "It is said aloud.", _cuff),
            Q(
                "tube.cuff_pressure_cmh2o",
                "Ordered cuff pressure in cmH2O? (none if none is ordered)",
                "It stands on the card.",
                _cuff,
                "none",
            ),
            Q(
                "tube.inner_tube",
                "Is there an inner tube that comes out? (yes, no)",
                "A blocked one is taken out first.",
                _tube,
            ),
            Q(
                "tube.bag_fits_without_inner_tube",
                "Does the bag fit while the inner tube is out? (yes, no) Try it.",
                "If not, a clean one goes in before the first squeeze.",
                lambda values: _tube(values) and bool(values.get("tube.inner_tube")),
            ),
            Q(
                "tube.sits_on_it",
                "What usually sits on the tube? (cap, valve, filter, with commas; or nothing)",
                "It comes off first.",
                _tube,
            ),
            Q(
                "tube.spare_same_size",
                "Is a spare of the same size in the bag? (yes, no)",
                "It goes in when this tube is blocked.",
                _tube,
            ),
            Q(
                "tube.smaller_spare_inside_mm",
                "Inside diameter of the smaller spare, in millimetres? (or none)",
                "It is the second try.",
                _tube,
            ),
            Q("tube.guide", "Is there a guide? (yes, no)", "It must come out again.", _tube),
            Q(
                "tube.first_change_done",
                "Day of the care team's first tube change? (such as 2026-02-28, or none)",
                "Before it, a change at home is dangerous.",
                _tube,
            ),
            Q(
                "tube.change_allowed_at_home",
                "May the tube be changed at home? (yes, no)",
                "If not, the prompter never asks for it.",
                _tube,
            ),
            Q(
                "tube.who_may_change_it",
                "Who is trained to change it?",
                "Only they do it.",
                _home_change,
            ),
            Q(
                "tube.trained_over_a_catheter",
                "Were you trained to change it over a catheter? (yes, no)",
                "It can be a third try.",
                _home_change,
                "no",
            ),
            Q(
                "tube.over_a_catheter_third_try",
                "Did the clinician order that third try? (yes, no)",
                "Training and order are both needed.",
                lambda values: _home_change(values)
                and bool(values.get("tube.trained_over_a_catheter")),
            ),
        ),
    ),
    (
        "Suction",
        (
            Q("suction.depth_cm", "Measured depth, in centimetres?", "It is said at every pass."),
            Q("suction.catheter_fr", "Suction catheter, in French?", "It must fit the tube."),
            Q("suction.vacuum_mmhg", "Vacuum of the machine, in mmHg?", "Too strong does harm."),
            Q("suction.seconds", "Longest pass, in seconds?", "A tone counts them, then: out."),
            Q(
                "suction.past_depth_when_blocked",
                "May one pass go deeper when the tube is blocked? (yes, no)",
                "It is done only if it is ordered.",
            ),
        ),
    ),
    (
        "The rescue",
        (
            Q(
                "ventilator",
                "Is a ventilator usually on the tube? (yes, no)",
                "It comes off first.",
                _tube,
            ),
            Q(
                "rescue.saline_ml",
                "Saline into the tube, in millilitres? (or: not ordered)",
                "It is said aloud; without an order it is left out.",
            ),
            Q(
                "rescue.no_rise_first",
                "Chest flat at the first squeezes: finish the cycle, or change at once?"
                " (cycle, change)",
                "Both are taught; the clinician decides.",
                _tube,
                "cycle",
            ),
            Q(
                "rescue.breaths_a_minute",
                "Breaths a minute with the bag? (none for the guideline's rate)",
                "The beat follows it.",
                usual="none",
            ),
            Q(
                "rescue.mouth_to_tube_trained",
                "Were you trained to breathe into the tube? (yes, no)",
                "It is the last way when the bag fails.",
                _tube,
            ),
            Q(
                "rescue.bleeding_cuff_air_ml",
                "Air into the cuff when it bleeds, in millilitres? (or: not ordered)",
                "It is done only if it is ordered.",
                _cuff,
            ),
            Q("compressions.trained", "Trained in pushing the chest? (yes, no)", "For the beat."),
            Q(
                "compressions.order",
                "As you were trained: breaths first, or pushes first?",
                "The prompter keeps to your training.",
                usual="breaths first",
            ),
        ),
    ),
    (
        "Oxygen",
        (
            Q("oxygen", "Is there an oxygen cylinder? (yes, no)", "Without it, room air works."),
            Q("oxygen.cylinder", "Its letter? (D, E, M, G, H, K)", "How much it holds.", _oxygen),
            Q("oxygen.gauge_psi", "Its gauge now, in psi?", "How long it lasts.", _oxygen),
            Q("oxygen.usual_l_min", "Usual flow, litres a minute?", "How long it lasts.", _oxygen),
            Q("oxygen.highest_l_min", "Highest flow?", "It is used in an emergency.", _oxygen),
        ),
    ),
    (
        "People and phone",
        (
            Q(
                "helper.usual",
                "Is a second caregiver usually there? (yes, no)",
                "The helper fetches, calls and holds.",
            ),
            Q(
                "helper.name",
                "The helper's short name?",
                "The prompter speaks to the helper by name.",
                lambda values: bool(values.get("helper.usual")),
            ),
            Q("phone.number", "The emergency number where you live?", "The prompter never dials."),
            Q(
                "phone.dialled_without_hands",
                "How do you dial it when both hands are busy?",
                "They will be.",
            ),
            Q(
                "phone.last_tested",
                "On which day was that last tried? (such as 2026-02-28, or none)",
                "A way that was never tried fails.",
            ),
            Q(
                "phone.address",
                "Your address, as you would say it to an operator? (commas between the lines)",
                "It is read aloud when you cannot speak.",
            ),
            Q("phone.call_back", "The number to call you back on?", "It is read aloud."),
            Q("phone.door", "Which door, and how does it open?", "Minutes are lost at doors."),
            Q("phone.pets", "Pets? (or none)", "Crews stop at a barking dog.", usual="none"),
            Q("clinician.name", "Which clinician is phoned afterwards?", "For the account."),
            Q("clinician.phone", "The clinician's number?", "It stands on the card."),
            Q("clinician.hospital", "Which hospital knows the patient?", "For the paramedics."),
            Q(
                "call_after_s",
                "Seconds from the start until the call is asked for?"
                " (none: at once with a helper, 30 alone)",
                "Alone, one hand must be free first.",
                usual="none",
            ),
            Q(
                "voice.name",
                "Which voice? (embedded, natural, natural low)",
                "The natural ones need pip install 'prompter[voice]', and some minutes to be made ready.",
                usual="embedded",
            ),
            Q(
                "voice.quietest_db",
                "Prompts never quieter than how many dB against the usual loudness? (-12 to 0)",
                "In a quiet room at night -6 is enough for some; 0 is the safe choice.",
                usual="0",
            ),
            Q(
                "voice.loudest_db",
                "And in noise never louder than? (0 to 9)",
                "Crying at the ear is louder than any prompt; 9 is as loud as it gets.",
                usual="9",
            ),
            Q(
                "keep_sound",
                "Keep the sound of an emergency, on this machine only? (yes, no)",
                "The clinician hears what happened; everybody in the room is on it.",
            ),
        ),
    ),
    (
        "Approval",
        (
            Q(
                "approval.approved_by",
                "Which clinician approved this plan? (none while it waits)",
                "Until then the card says that it is not approved.",
            ),
            Q(
                "approval.approved_on",
                "On which day? (such as 2026-02-28)",
                "It goes with the approval.",
                lambda values: values.get("approval.approved_by") is not None,
            ),
            Q(
                "approval.review_due",
                "Day of the next review? (such as 2026-08-28)",
                "Children grow, tubes change.",
                lambda values: values.get("approval.approved_by") is not None,
            ),
        ),
    ),
)
