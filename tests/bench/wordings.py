"""The clinical brief's answers and wordings, for measuring how well each is heard.

The flow file is their home in use; this copy lets the hearing be measured without a flow.
The first wording of each answer is the one that is taught.
"""

from prompter.events import Phrase, Risk

# answer: (risk, wordings)
ANSWERS: dict[str, tuple[Risk, list[str]]] = {
    "in place": ("branch", ["still in place", "it's in", "tube's there", "looks fine"]),
    "came out": (
        "branch",
        ["it came out", "it popped out", "fell out", "she pulled it out", "trach's out"],
    ),
    "halfway": ("branch", ["halfway out", "partly out", "it slipped", "it's crooked"]),
    "done": ("plain", ["that's done", "done", "okay", "got it", "it's off", "next"]),
    "passed": ("branch", ["all the way", "went down", "it's clear", "got loads"]),
    "won't pass": (
        "branch",
        ["won't pass", "it's blocked", "it's plugged", "can't get it down", "stops halfway"],
    ),
    "no suction": ("branch", ["suction's dead", "machine's not working", "battery's gone"]),
    "better": (
        "good",
        ["breathing fine", "pinking up", "that's better", "coming back", "she's crying"],
    ),
    "not better": (
        "branch",
        ["still struggling", "no change", "still blue", "working hard", "gasping"],
    ),
    "not breathing": ("branch", ["no breaths", "not breathing", "stopped breathing"]),
    "limp": ("branch", ["limp, nothing", "won't wake up", "floppy", "no response"]),
    "moving": ("branch", ["moving now", "eyes open", "kicking", "awake"]),
    "oxygen on": ("plain", ["it's hissing", "oxygen's on", "turned up"]),
    "no oxygen": ("branch", ["tank's empty", "no oxygen", "nothing coming"]),
    "rising": ("branch", ["going up", "chest's moving", "it's rising", "good rise"]),
    "flat": ("branch", ["chest flat", "no rise", "won't squeeze", "hard to squeeze", "no air"]),
    "tube ready": ("plain", ["got the tube", "in my hand"]),
    "no spare": ("branch", ["no spare", "can't find it"]),
    "tube in": ("branch", ["it's through", "it went in", "new one's in"]),
    "stuck": ("branch", ["it's stuck", "won't go in", "can't get it in", "it's closed up"]),
    "on speaker": ("plain", ["phone on speaker", "they're on", "on the line"]),
    "no phone": ("plain", ["no phone"]),
    "paramedics": ("branch", ["paramedics are here", "they're at the door"]),
    "taken over": ("good", ["they have taken over", "they're bagging"]),
    "still fine": ("good", ["still fine", "she's settled"]),
    "worse": ("branch", ["getting worse", "starting again", "dropping"]),
    "mucus": ("branch", ["lots of mucus", "needs suction", "it's gurgling"]),
    "say again": ("plain", ["say again"]),
    "how": ("plain", ["how do I"]),
    "undo": ("branch", ["that was wrong"]),
    "hold on": ("plain", ["hold on"]),
    "call": ("plain", ["call now", "help me"]),
    "address": ("plain", ["say the address"]),
    "alone": ("plain", ["I'm alone"]),
    "helper here": ("plain", ["helper's here"]),
    "blood": ("branch", ["lots of blood"]),
    "swelling": ("branch", ["neck's swelling"]),
    "vomit": ("branch", ["he threw up"]),
    "tell them": ("plain", ["tell them"]),
}
EVERYWHERE = (
    "say again", "how", "undo", "hold on", "call", "on speaker", "no phone", "address", "alone",
    "helper here", "came out", "not breathing", "limp", "blood", "swelling", "vomit", "paramedics",
    "tell them",
)  # fmt: skip


def phrases(answers: list[str] | None = None) -> list[Phrase]:
    """All wordings of these answers (of all when None)."""
    names = list(ANSWERS) if answers is None else answers
    return [Phrase(w, a, ANSWERS[a][0]) for a in names for w in ANSWERS[a][1]]


def first_wordings() -> list[Phrase]:
    """The wording that is taught, of each answer."""
    return [Phrase(words[0], a, risk) for a, (risk, words) in ANSWERS.items()]


OTHER_TALK = [
    "let me get my coat", "where is the car", "can you open the window", "the dog is barking",
    "I think it is raining", "what time is dinner", "put the kettle on", "did you feed the cat",
    "she had a good day at school", "the neighbour is coming", "turn the light on please",
    "where are my glasses", "it is on the kitchen table", "we need more milk", "come over here",
    "mind the step", "hello who is this", "yes I am her mother", "give me a second",
    "what is your name", "the number is on the fridge", "go and wait outside", "look at me darling",
    "it's okay sweetheart", "oh my god", "please hurry up", "is somebody there", "I don't know",
    "what did you say", "just a minute", "take it out", "is it in", "not better",
    "not moving", "not going up", "the ambulance is nearly here", "it's ringing",
    "is she breathing", "no she is not breathing fine", "it did not come out",
]  # fmt: skip
