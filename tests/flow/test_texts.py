"""What is said, over the texts of many variants: length, plain words, and nothing that could be obeyed or that jumps.

Twelve words, five over a beat, the forbidden words: CLINICAL sections 3, 8 and 9, common practice, no source.
Reading grade: Kincaid et al. 1975 (REFERENCES), syllables from the CMU dictionary as `syllapy` carries it.
"""

import re

import pytest
import syllapy
from driver import reach, table_for, the_flow
from variants import WORDS, combinations, drawn, like, variant

from prompter.flow.table import STAY, Table

ADDRESS = re.compile(r"^(Again\. )?(Address|Call back):")
NEVER = (
    r"on (the|its|their) way", r"help is coming", r"it'?s fine", r"all clear", r"too late", r"hurry", r"calm down",
    r"you should have", r"harder", r"calling", r"i will call", r"diagnos", r"don'?t worry", r"dying", r"dead\b", r"minutes? (have|has)",
)  # fmt: skip
BARE = {"stop", "stop now", "out", "off", "good"}
IMPERATIVES = {
    "take", "pull", "push", "put", "squeeze", "hold", "fill", "empty", "tie", "look", "watch", "feel", "press", "turn", "wipe", "fetch",
    "call", "phone", "find", "tap", "stay", "read", "use", "say", "drop", "touch", "give", "suction", "roll", "breathe", "keep", "stop", "tell",
    "change", "make", "rest", "go",
}  # fmt: skip
SEVERAL_AS_THE_TABLES_SAY_IT = {
    # CLINICAL's own wordings: a sentence of one short action after another, or an answer to be said.
    "Tap and shout. Any movement?", "Blocked? Ties off, change it.", "Chest flat? Change tube now.", "To close, say: close it now.",
    "When all is done, say: we are finished.", "Mucus? Say so.", "Chest flat? Say so.", "Make the call. Speaker on.",
    "Take off the cap or valve.", "Suction now. Depth: 6 and a half centimetres.", "Suction again. Depth: 6 and a half centimetres.",
    "Number is low. Read it again.", "Sam: emergency bag and phone.",
}  # fmt: skip


@pytest.fixture(scope="module")
def tables() -> list[Table]:
    every_kind = [like("neck only"), like("cuffed", "inner tube", "on tube", "ventilated", "bleeding cuff", "over catheter", "past depth"), like("hard", "adult")]
    return [table_for(v) for v in (*drawn(55, 25), *every_kind)]


@pytest.fixture(scope="module")
def texts(tables) -> list[str]:
    return sorted({text for table in tables for text in table.texts()})


def words(text: str) -> int:
    """Digits spoken one by one count as one number."""
    return len(re.sub(r"\b\d(,? \d)+\b", "number", text).split())


def test_no_prompt_has_more_than_twelve_words(texts):
    assert not [t for t in texts if words(t) > 12 and not ADDRESS.match(t)]


def said_over_a_beat(table: Table) -> set[str]:
    """Everything the table can bring out while breaths or pushes are paced."""
    flow, found = table.flow, set()
    endless = {n for n, s in table.stands.items() if s.beat in ("breaths", "pushes")}
    for name in endless:
        stand = table.stands[name]
        found |= {s.text for s in stand.ask} | {s.text for quiet in stand.quiet for s in quiet.say}
        found |= {stand.how} if stand.how else set()
        answers = {row.trigger for row in table.rows if row.source == name and row.trigger in flow.answers}
        for row in table.rows:
            if row.source == name and row.target == STAY:
                found |= {s.text for s in row.say}
        for answer in answers:
            found |= {table.asked_back(answer), table.to_confirm(answer)}
            if flow.answers[answer].risk != "plain":
                found.add(table.heard(answer))
    rules = flow.rules
    found |= {s.text for s in (*table.summary, *table.on_speaker)}
    found |= {table.line(t) for t in (flow.call.ask_paced, flow.call.remind_without_phone, rules.number_again, rules.use_key, rules.going_back, rules.holding)}
    found.add(table.line(rules.heard, read_back="88"))
    return {t for t in found if not ADDRESS.match(t)}


def test_what_can_be_said_over_a_beat_has_five_words_at_most(tables):
    long = {t for table in tables for t in said_over_a_beat(table) if words(t) > 5}
    assert not long


def test_a_beat_stops_for_longer_words_and_begins_again():
    """Another route is told in more than five words (section 6): the beat waits for the hands."""
    drive = reach(like(), "came out", "stuck", "stuck", "no spare", "not better").wait(15)
    assert drive.step == "mouth-mask" and drive.machine.paced
    drive.blurts("flat")
    drive.wait(12).blurts("flat")
    since = drive.now
    drive.wait(12)
    assert drive.step == "neck-mask" and drive.machine.paced
    assert not [h.text for h in drive.heard if h.at_ms > since and h.paced and words(h.text) > 5]


def test_nothing_forbidden_is_said(texts):
    found = [(t, never) for t in texts for never in NEVER if re.search(never, t.lower())]
    assert not found
    assert not [t for t in texts if t.lower().strip(".?!") in BARE]


def test_good_is_not_said_and_nothing_promises(texts):
    assert not [t for t in texts if re.search(r"\bgood\b|\bwell done\b|\bhelp is\b", t.lower()) and t not in ("Help is next.",)]


def test_one_action_a_prompt(tables, texts):
    several = []
    for text in texts:
        if text in SEVERAL_AS_THE_TABLES_SAY_IT or ADDRESS.match(text) or text.startswith("I heard") or text.endswith("Once more."):
            continue
        begins = [re.sub(r"[^a-z]", "", s.split()[0].lower()) for s in re.split(r"[.?!:,] ", text.removeprefix(f"{WORDS['helper']}: ")) if s.split()]
        if sum(b in IMPERATIVES for b in begins) > 1 or re.search(r"\bthen\b| and (%s)\b" % "|".join(IMPERATIVES), text.lower()):
            several.append(text)
    how = {s.how for table in tables for s in table.stands.values()}  # "how do I" explains, in short steps
    assert not [t for t in several if t not in how], "two actions in one prompt"


def test_two_peoples_jobs_are_never_in_one_prompt(texts):
    name = WORDS["helper"]
    assert not [t for t in texts if name in t and not t.startswith(f"{name}: ")]


def test_the_reading_grade_is_six_at_most(tables):
    """0.39 x words/sentences + 11.8 x syllables/words - 15.59: Kincaid et al. 1975."""
    assert round(grade("The cat sat on the mat."), 2) == -1.45, "worked by hand: 6 words, 6 syllables"
    worst = max(grade(" ".join(t if t[-1] in ".?!" else f"{t}." for t in table.texts())) for table in tables)
    assert worst <= the_flow().rules.reading_grade == 6


def grade(text: str) -> float:
    plain = re.sub(r"\d+", "five", text)
    sentences = len(re.findall(r"[.?!](?=\s|$)", plain))
    found = re.findall(r"[A-Za-z']+", plain)
    syllables = sum(max(1, syllapy.count(word.lower().removesuffix("'s"))) for word in found)
    return 0.39 * len(found) / sentences + 11.8 * syllables / len(found) - 15.59


def test_no_prompt_or_echo_holds_a_phrase_that_works_everywhere_and_jumps(tables):
    flow = the_flow()
    jumps = [a for a, arms in flow.everywhere.items() if any(arm.go or arm.call or arm.call_is or arm.confirm for arm in arms)]
    assert {"came out", "not breathing", "limp", "bleeding", "neck swelling", "vomit", "taken over"} <= set(jumps)
    wordings = [(a, w) for a in jumps for w in flow.answers[a].wordings]
    found = []
    for table in tables:
        spoken = {t for t in table.texts() if t != "Call now."}
        found += [(t, w) for t in spoken for _, w in wordings if f" {plain(w)} " in f" {plain(t)} "]
    assert not found


def plain(text: str) -> str:
    return " ".join(re.findall(r"[a-z']+", text.lower()))


def test_call_now_is_the_tables_own_wording_and_moves_nothing():
    """Section 5 says it aloud where a tube is not changed at home; as an answer it only asks for the call."""
    assert all(arm.stay for arm in the_flow().everywhere["call now"])


def test_neck_only_never_hears_of_mouth_nose_chin_or_face():
    """The neck-only airway: oxygen and breaths by the stoma only, McGrath et al., Anaesthesia 2012;67:1025."""
    facts, _ = combinations()
    neck_only = [f for f in facts if "neck only" in f]
    for index in range(0, len(neck_only), len(neck_only) // 12):
        for text in table_for(variant(neck_only[index])).texts():
            assert not re.search(r"\b(mouth|nose|chin|cover|face|head back)\b", text.lower()), text


def test_uncuffed_never_hears_of_a_cuff_and_no_order_means_no_saline(tables):
    checked = 0
    for table in tables:
        facts = table.variant.facts
        spoken = [t.lower() for t in table.texts() if not t.startswith("I heard") and not t.endswith("Once more.")]
        if "cuffed" not in facts:
            checked += 1
            assert not [t for t in spoken if "cuff" in t]
        if "saline" not in facts:
            checked += 1
            assert not [t for t in spoken if "saline in the tube" in t]
        if "oxygen" not in facts:
            assert not [t for t in spoken if t.startswith(("oxygen on", "sam: oxygen on"))]
        if "helper" not in facts:
            # A helper may come ("helper's here"): her lines are prepared, but nothing begins with them.
            assert "Sam: emergency bag and phone." not in reach(table.variant).texts()
    assert checked > 10


def test_every_prompt_that_is_said_was_prepared(tables):
    """A clip that is rendered late makes somebody wait; numbers are the one exception."""
    for table in tables[:10]:
        drive = reach(table.variant, "in place", "done", "passed", "not better", "flat", "limp").wait(60)
        prepared = set(table.texts())
        assert not [h.text for h in drive.heard if h.text not in prepared and not re.match(r"I heard: \d+\.", h.text)]


def test_every_wording_is_two_to_four_words_in_the_first_place():
    """Section 8: two to four ordinary words; the first is taught and printed. One word is known to be heard badly."""
    one_word = [a for a, body in the_flow().answers.items() if not 2 <= len(body.wordings[0].split()) <= 5]
    assert not one_word


def test_opposite_answers_share_no_wording_and_none_is_another_with_a_lost_not():
    """Rule 3: no lost "not" leads from trouble to good news."""
    flow = the_flow()
    good = {plain(w) for body in flow.answers.values() if body.risk == "good" for w in body.wordings}
    for name, body in flow.answers.items():
        if body.news == "bad":
            for wording in body.wordings:
                without_not = plain(wording).replace("not ", "").replace("no ", "").replace("won't ", "")
                assert without_not not in good, (name, wording)
