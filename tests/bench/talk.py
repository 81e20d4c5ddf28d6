"""Talk of other people, made by a seeded grammar: what a home and a telephone sound like meanwhile.

None of it is an answer. A rule is a text with {parts}; a part is drawn from its own list until no
brace is left.
"""

import re

import numpy as np

from prompter.hear.shortlist import plain_words

_PARTS: dict[str, str] = {
    "who": "she|he|your sister|my brother|grandma|the nurse|the neighbour|Uncle Tom|somebody|the"
    " teacher|our cousin|the driver|the girl next door|my mother in law|the doctor",
    "thing": "the car keys|my phone charger|the blue blanket|a clean towel|the shopping|her school"
    " bag|the big scissors|the front door|the kitchen light|that box|the washing|my other shoes|the"
    " dog's lead|a glass of water|the remote|his jacket|the pushchair|the garden gate|the post",
    "place": "in the kitchen|by the window|upstairs|in the hall|under the bed|next to the sofa|out in"
    " the garden|behind the door|on the top shelf|at the shop|in the car|at work|at number {count}",
    "time": "this morning|yesterday|after lunch|at half past {small}|in {count} minutes|on {day}|last"
    " week|before school|around {small} o'clock|just now|all night|the day before yesterday",
    "day": "Monday|Tuesday|Wednesday|Thursday|Friday|Saturday|Sunday",
    "small": "two|three|four|five|six|seven|eight|nine|ten",
    "count": "{small}|eleven|twelve|fourteen|fifteen|twenty|twenty five|thirty six|forty|fifty one|"
    "eighty seven|ninety two|a hundred and ten",
    "did": "took|brought|left|moved|found|washed|dropped|forgot|borrowed|fixed|hid|wanted|put away",
    "do": "take|bring|leave|move|find|wash|fetch|fix|hold|open|close|carry|look for|pick up",
    "mood": "tired|hungry|upset|happy|fine with it|worried|a bit cold|in a hurry|late again|so brave"
    "|half asleep|very quiet today|quite cheerful",
    "call": "sweetheart|love|darling|mum|dad|everyone|Sam|my dear|you two|buddy",
    "food": "soup|toast|rice and beans|a banana|chicken|some yoghurt|pancakes|an egg|cereal|pasta",
    "weather": "raining|snowing|getting dark|really windy|too hot|foggy|cold outside",
    "show": "the news|the football|that cooking programme|a cartoon|the film|her favourite song",
    "call_talk": "the line is bad|the lines are busy|I can hear you|I lost you for a second|can you"
    " hear me now|hold the phone closer|the battery of this phone is at {count} percent",
}
_LISTS = {name: text.split("|") for name, text in _PARTS.items()}

HOME = [
    "{who} {did} {thing} {time}", "can you {do} {thing}", "please {do} {thing} and {thing}",
    "did {who} {do} {thing}", "I think {who} {did} {thing}", "where is {thing}",
    "{thing} must be {place}", "it is {place}, I saw it {time}", "don't {do} {thing}, {call}",
    "{who} was {mood} {time}", "are you {mood}, {call}", "what would you like, {food} or {food}",
    "we had {food} {time}", "it is {weather} again", "is it {weather}", "turn off {show}, {call}",
    "{who} watches {show} {place}", "I told {who} about it {time}", "come and {do} {thing}",
    "let {who} {do} {thing}", "the bus leaves at {small} {count}", "it costs {count} dollars",
    "there are {count} of them {place}", "no, {who} {did} that {time}", "yes, I will {do} it",
    "oh, is that {thing}", "mind {thing}, {call}", "{call}, go and sit {place}",
    "we should ask {who} about {thing}", "why is {thing} {place}", "who {did} {thing}",
    "I need {count} more, and {food}", "she said {who} is {mood}", "he isn't {mood} any more",
    "look, {thing} is still {place}", "nobody {did} {thing} {time}", "how is {who} today",
    "be careful with {thing}", "you can play {place} with {who}", "not {place}, over there",
    "stay there, I will {do} {thing}", "hurry up, {who} is waiting {place}",
]  # fmt: skip
MEANWHILE = [
    "they said {count} minutes", "the ambulance comes from {place}", "go and wait {place}, {call}",
    "is {who} coming {time}", "she was {mood} {time}", "what did {who} say", "it started {time}",
    "keep the dog {place}", "open {thing} for them", "{call_talk}", "tell {who} to come {place}",
    "I am with {who}, {call}", "has {who} eaten {food} {time}", "she is {count} months old",
    "take {thing} off the stairs", "{who} knows where {thing} is", "it's okay, {call}, I'm here",
    "we live at number {count}", "don't cry, {call}", "just {do} {thing} and come back",
]  # fmt: skip
OPENINGS = [
    "well,", "listen,", "oh,", "so,", "look,", "right,", "Sam,", "honestly,", "hey,", "and then",
    "I know, but", "sorry,", "wait,", "mum,", "you know what,", "by the way,",
]  # fmt: skip
OPERATOR = [
    "emergency, what is the address", "tell me exactly what has happened", "is {who} awake",
    "is she breathing at all", "help is on the way", "stay on the line with me",
    "they are {count} minutes away", "is there anybody else with you", "how old is {who}",
    "can you open the front door for them", "you are doing very well", "what colour are her lips",
    "is the tube still in the neck", "does her chest move", "is there any blood", "how is it going",
    "I am staying with you, {call}", "do you have oxygen {place}", "unlock {thing}",
    "keep doing what you are doing", "tell me if anything changes", "which floor are you on",
    "I have number {count}, is that right", "put {thing} away and turn on the lights",
    "has {who} had this before", "when did it start, {time}", "do not hang up", "okay, I see",
    "is the chest going up", "did the catheter go all the way", "are you alone, or is {who} there",
]  # fmt: skip
"""What somebody who answers an emergency call might say. Invented."""


def sentence(rng: np.random.Generator, rules: list[str], never: frozenset[str]) -> str:
    """One sentence that is none of `never` (plain words)."""
    while True:
        text = _drawn(rng, rules)
        while "{" in text:
            text = re.sub(r"\{(\w+)\}", lambda part: _drawn(rng, _LISTS[part.group(1)]), text)
        if plain_words(text) not in never:
            return text


def _drawn(rng: np.random.Generator, some: list[str]) -> str:
    return some[int(rng.integers(len(some)))]


def at_home(rng: np.random.Generator, never: frozenset[str]) -> str:
    """What people in the house say."""
    text = sentence(rng, HOME if rng.random() < 0.7 else MEANWHILE, never)
    return f"{_drawn(rng, OPENINGS)} {text}" if rng.random() < 0.4 else text


def operator(rng: np.random.Generator, never: frozenset[str]) -> str:
    """What the telephone says."""
    return sentence(rng, OPERATOR, never)
