"""Words that are no answer but sound like one: scored beside the allowed wordings, so that talk
to somebody else, a question or a denied answer has something nearer to be.

They compete only where they sound like what was heard. The first group are the traps of the
clinical brief; the last is everyday talk of a few short words. `Hearing` adds every allowed wording
with a 'not' more or fewer, and every wording of the flow that is not allowed now.
"""

DECOYS: tuple[str, ...] = (
    # denied, asked, or not yet
    "not better", "not good", "not fine", "not moving", "not rising", "not clear", "not done",
    "it didn't pass", "it didn't go in", "it didn't go down", "it didn't come out", "it's not in",
    "it's not clear", "it's not through", "is it in", "is it out", "is it off", "is it clear",
    "is it rising", "is it going up", "is she breathing", "is he breathing", "is she better",
    "she isn't settled", "eyes not open", "take it out", "pull it out", "put it in",
    "it's ringing", "nearly here", "they're coming", "they're not here yet", "what's that",
    "where is it", "who is it", "how is she", "are you there",
    "are you on the line", "stay on the line", "is the chest going up",
    # once wordings of the flow, and too near to ones of opposite answers
    "went right down", "it's dropping",
    # once wordings of a flat chest, and taken for an empty bottle ("no oxygen")
    "no air", "no air gets in",
    # once wordings of the flow, and what an operator's questions were taken for
    "help me", "I'm alone", "are you alone", "are you by yourself",
    # everyday
    "yes", "no", "yeah", "oh no", "oh yes", "oh", "okay", "all right", "right", "left", "stop",
    "go", "go on", "up", "down", "on", "off", "in", "out", "here", "there", "now", "wait",
    "wait there", "what", "who", "why", "where", "when", "hello", "hey", "hi", "please",
    "thank you", "sorry", "really", "maybe", "mum", "mummy", "dad", "daddy", "baby", "sweetheart",
    "good girl", "good boy", "come on", "come here", "come in", "look", "look at me", "listen",
    "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "I know",
    "I don't know", "I'm here", "it's okay", "it's all right", "let me see", "let me think",
    "give me that", "tell me", "call me",
    "get the door", "oh my god", "quick", "hurry up", "be careful", "move",
    "house", "dog", "cat", "bed", "tree", "water", "phone", "light", "chair", "table", "time",
    "happy", "back", "again", "this one", "that one", "my hand", "her hand", "the bag",
)  # fmt: skip
