"""What a trained caregiver takes a prompt to mean: an action, a question, or nothing to do.

Read from the words alone, as people do: if the flow's words change, so does what is done.
"""

import re
from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True, slots=True)
class Meaning:
    """`sort`: 'do', 'ask', 'call', 'again' (say it again), 'key', 'nothing'. `what`: which."""

    sort: str
    what: str = ""


_RULES: tuple[tuple[str, str, str], ...] = (
    (r"^I heard: ", "echo", ""),
    (r"^For the operator|^Breathes (only )?through", "nothing", ""),
    (r"^Address:|^Again\. Address:|^Call back:", "nothing", ""),
    (r"[Cc]all on speaker|Make the call|Emergency call|Find any phone|^Call now", "call", ""),
    (r"\? Once more\.$", "again", ""),
    (r"Say the number again", "ask", "number"),
    (r"Use the key", "key", ""),
    # questions
    (r"Is the tube in the neck\?", "ask", "tube"),
    (r"Is the neck hole clear\?", "ask", "hole clear"),
    (r"Did the catheter go all the way\?|^Does it go\?", "ask", "passed"),
    (r"chest moving by itself\?", "ask", "moving by itself"),
    (r"^Lips: better", "ask", "lips"),
    (r"Oxygen number\?|Number is low", "ask", "number"),
    (r"Is the chest going up\?|^Chest flat\? ", "ask", "rising"),
    (r"Any movement\?", "ask", "movement"),
    (r"Valve or cap still on\?", "ask", "lid"),
    (r"^How is .* now\?|^Answer me: how is", "ask", "how now"),
    (r"Any breaths by itself\?", "ask", "breaths"),
    (r"Breathing: same, or worse\?", "ask", "how now"),
    (r"oxygen hissing\?", "ask", "hissing"),
    (r"Any breathing\?", "ask", "movement"),
    (r"Stay on the bag, or back on the vent\?", "ask", "bag or vent"),
    (r"we are finished|To close, say", "nothing", ""),
    (r"^Mucus\? Say so", "nothing", ""),
    (r"^Count the catheters|^A new spare tube|^A smaller spare tube|^More saline|^Check what oxygen|^Change the oxygen tank|^Mend the suction|^What else was used", "nothing", ""),
    # actions
    (r"Take the vent off", "do", "vent off"),
    (r"Take off the cap or valve", "do", "lid off"),
    (r"^Inner tube out", "do", "inner out"),
    (r"^Clean inner tube in", "do", "inner in"),
    (r"^Suction again", "do", "suction again"),
    (r"^Suction (now|the blood|first)", "do", "suction"),
    (r"^(Bag on|Breathe into the tube|Squeeze with me|Squeeze when|Keep squeezing)", "do", "bag on"),
    (r"^Two gentle squeezes", "do", "squeeze"),
    (r"^Saline in the tube", "do", "saline"),
    (r"Roll under the shoulders|Flat on a hard floor", "do", "roll"),
    (r"^New tube in your hand|^Take the smaller tube", "do", "fetch tube"),
    (r"^Empty the cuff", "do", "cuff empty"),
    (r"^Ties off|^Blocked\? Ties off", "do", "ties off"),
    (r"^Pull out the old one|^Pull the tube out|^Pull it all the way", "do", "pull out"),
    (r"^Smaller tube (in|over)", "do", "insert smaller"),
    (r"^(New tube in, |Once more|Put the same one back)", "do", "insert"),
    (r"^Pull the guide out", "do", "guide out"),
    (r"^Hold the tube|^Keep holding the tube", "do", "hold tube"),
    (r"tie the tube", "do", "tie"),
    (r"^Fill the cuff|^Cuff, add air", "do", "cuff fill"),
    (r"^Catheter down the tube", "do", "catheter check"),
    (r"[Mm]ask over mouth and nose", "do", "mask mouth"),
    (r"^Small mask over", "do", "mask neck"),
    (r"[Oo]xygen on\b|^Oxygen on (the neck|face)", "do", "oxygen on"),
    # said, and nothing for this world's hands
    (r"[Gg]auze|hold the tube still|silence the alarm|fetch a defibrillator|: swap|emergency bag and phone", "nothing", ""),
    (r"^(Bag off|Out now|Stay close|Watch the|Do not force|Stop squeezing|Stop at resistance|Back one)", "nothing", ""),
    (r"^(Blocked tube must come out|Press the|Push the chest|Keep pushing|Keep going|Until they|Help is next)", "nothing", ""),
    (r"^(Room air works|Go on without|Keep this tube|Turn the head|Wipe it away|They have it now|Tell them)", "nothing", ""),
    # of the side flows, which this world's troubles do not need: done without a word, and what is asked there is not answered
    (r"^(Next pass gentle|Stop any feed|Straighten the neck|Put the sensor on|Push the hose on|No kink and|Plug the vent)", "nothing", ""),
    (r"^(Look at .* first|Stay on the phone|Only streaks|Blood: only|Alarm: quiet|Answer me: more blood)", "nothing", ""),
    (r"^(Look at what|Follow it with|Lay it straight|A warm finger)", "nothing", ""),
    # "how do I", and what "tell them" says
    (r"^(Look at the neck|Pull off what|Hold the collar|Catheter in to|One slow squeeze|Drop it in|Guide inside|Curve down)", "nothing", ""),
    (r"^(A (new|smaller) tube is in|Breathing had|Chest (did not rise|rises with)|No tube in now|Pushes are|Saline went)", "nothing", ""),
    (r"^(The catheter (did not pass|passed)|The oxygen is empty|There is bleeding)", "nothing", ""),
    (r"^(The account|Fill the emergency bag|Phone |Rest now|Talk with|Going back|Holding)", "nothing", ""),
)
_COMPILED = tuple((re.compile(pattern), sort, what) for pattern, sort, what in _RULES)


@lru_cache(maxsize=4_096)
def meaning_of(text: str) -> Meaning | None:
    """None: a prompt that no caregiver of this world was taught."""
    for pattern, sort, what in _COMPILED:
        if pattern.search(text):
            return Meaning(sort, what)
    return None
