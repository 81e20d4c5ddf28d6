"""The page: whole in itself, readable by all, honest about damage, safe with any content."""

import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from itertools import product
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from markupsafe import escape

from prompter.journal import read, read_bytes
from prompter.journal.line import Chain
from prompter.review import as_csv, as_json, build, render
from prompter.review.page import rows

CSS = (Path(__file__).parents[2] / "prompter/review/templates/page.css").read_text()
VOID = {"meta", "input", "br", "link", "img", "hr"}
CLOSED_BY = {"td": {"td", "tr"}, "tr": {"tr"}}
"""End tags that may be left out, and the start tags that stand for them (WHATWG HTML, 13.1.2.4)."""


class Tree(HTMLParser):
    """Checks that tags close in order, and collects what the tests ask about."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict]] = []
        self.texts: list[tuple[str, str]] = []
        self.wrong: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        while self.open and tag in CLOSED_BY.get(self.open[-1], ()):
            self.open.pop()
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        while tag == "tbody" and self.open and self.open[-1] in CLOSED_BY:
            self.open.pop()
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data):
        self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, tag: str) -> list[dict]:
        return [attrs for name, attrs in self.tags if name == tag]


@pytest.fixture
def page(incident) -> str:
    return render(incident)


def test_the_page_is_well_formed_and_structured(page):
    tree = Tree(page)
    assert tree.wrong == []
    assert tree.open == []
    assert tree.all("html")[0]["lang"] == "en"
    levels = [int(tag[1]) for tag, _ in tree.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False))
    assert all("scope" in attrs for attrs in tree.all("th"))
    assert len(tree.all("caption")) == len(tree.all("table")) == 2
    ids = [attrs["id"] for _, attrs in tree.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    named = [
        name
        for _, attrs in tree.tags
        for key in ("aria-labelledby", "for")
        for name in attrs.get(key, "").split()
    ]
    assert set(named) <= set(ids)
    pictures = [attrs for attrs in tree.all("svg") if attrs.get("role") == "img"]
    assert len(pictures) == 5 + 10  # 300 s in strips of 60 and of 30 s
    assert all("aria-labelledby" in attrs for attrs in pictures)


def test_nothing_is_fetched(page):
    tree = Tree(page)
    for tag, attrs in tree.tags:
        assert tag not in {"link", "img", "iframe", "object", "base"}
        assert not {"src", "srcset", "xlink:href", "background"} & attrs.keys()
        assert attrs.get("href", "#").startswith("#")
        assert not [name for name in attrs if name.startswith("on")]
    assert "@import" not in page
    assert set(re.findall(r"url\(([^)]*)\)", page)) <= {
        f"#{form}-{n}-hatch" for form in ("wide", "narrow") for n in range(0, 300, 30)
    }
    assert "http:" not in page.replace('http-equiv="Content', "")
    assert "https:" not in page


def test_a_rehearsal_says_so_at_the_top(incident, sample, tmp_path):
    top = render(incident).split("<h1>")[0]
    assert "Rehearsal with the demonstration plan." in top
    live = build(read(sample.blocked_tube(live=True).write(tmp_path / "live.jsonl")), "live")
    assert "Rehearsal" not in render(live)
    assert "demonstration plan" in render(live).split("<h1>")[0]


def test_every_event_is_in_the_table(incident, page):
    body = page.split('<table class="events">')[1].split("<tbody>")[1]
    assert body.count("<tr ") == len(rows(incident.entries))
    times = [
        t for row in rows(incident.entries) if "beats" in row.text for t in row.detail.split(", ")
    ]
    texts = body.replace("&#39;", "'")
    for entry in incident.entries:
        if entry.kind not in ("beat", "answered", "unclear"):
            assert str(escape(entry.text)).replace("&#39;", "'") in texts, entry
    alone = sum(e.kind == "beat" for e in rows(incident.entries) if "beats" not in e.text)
    assert len(times) + alone == sum(e.kind == "beat" for e in incident.entries)


def test_how_a_thing_is_known_is_told_by_letter_and_word(page):
    body = page.split('<table class="events">')[1]
    for letter, how in [
        ("S", "spoken"),
        ("K", "keyed"),
        ("A", "assumed"),
        ("T", "timed"),
        (r"\?", "not believed"),
    ]:
        shown = how.replace(" ", "-")
        assert f'<use href="#{shown}"/></svg> {how}\n' in body
        assert re.search(rf'<g id="m-{shown}">(?:(?!</g>).)*>{letter}</text></g>', page)


def test_the_cautions_are_on_the_page(page):
    # CLINICAL section 12
    footer = page.split("<footer>")[1]
    for words in [
        "Not a medical device",
        "does not replace training",
        "trained by the care team",
        "act on your training and call",
        "local practice",
    ]:
        assert words.lower() in footer.lower().replace("this is not", "not")


def test_a_damaged_journal_is_shown_up_to_the_damage(journal_file):
    data = journal_file.read_bytes()
    lines = data.split(b"\n")
    lines[120] = lines[120].replace(b'"kind"', b'"kinb"')
    incident = build(read_bytes(b"\n".join(lines)), "night")
    text = render(incident)
    assert "The record is damaged: line 121" in text
    assert len(incident.entries) == 120
    torn = render(build(read_bytes(data[:-30]), "night"))
    assert "breaks off or was changed in its last line" in torn


def test_text_from_the_journal_cannot_become_markup(sample, tmp_path):
    bad = "</style></script><script>alert(1)</script><svg onload=x>&{{ 7*7 }}"
    opened = sample.opened() | {
        "flow": bad,
        "version": bad,
        "plan_text": f"patient: {{ name: '{bad}' }}",
    }
    story = (
        sample.Story()
        .at(0, "opened", **opened)
        .at(0, "started")
        .say(1, bad, bad)
        .hears(4, bad, bad)
    )
    story.moved(5, bad, bad, bad, bad).moved(6, bad, bad, bad, bad, machine="call").learned(
        6, bad, bad, bad
    ).learned(7, "tube", bad, bad)
    story.at(8, "failed", part=bad, detail=bad).at(
        9, "numbered", quantity="spo2", value=80, how=bad
    ).at(10, bad, **{bad: bad})
    story.at(11, "closed", outcome=bad)
    text = render(build(read(story.write(tmp_path / "a.jsonl")), bad))
    tree = Tree(text)
    assert tree.wrong == []
    assert len(tree.all("script")) == 1
    assert not [attrs for attrs in tree.all("svg") if "onload" in attrs]
    assert "alert(1)" in text
    assert "49" not in re.findall(r"&amp;(.{0,9})", text)


KINDS = [
    "opened",
    "started",
    "say",
    "heard",
    "answered",
    "numbered",
    "unclear",
    "moved",
    "learned",
    "pace",
    "pace stopped",
    "beat",
    "closed",
    "failed",
    "recovered",
    "fault",
    "note",
    "refused",
    "tone",
    "something new",
]
FIELDS = {
    "what": [
        "breaths",
        "pushes",
        "suction",
        "tube",
        "breathing",
        "tries",
        "saline",
        "oxygen",
        "size",
    ],
    "value": ["out", "better", "no", "proven open", "given", "3"],
    "how": ["spoken", "assumed"],
    "machine": ["care", "call"],
    "quantity": ["spo2", "pulse"],
    "target": ["asked", "on speaker"],
    "part": ["microphone"],
    "role": ["call"],
    "answer": ["wrong", "came out"],
    "per_minute": [20.0],
    "count": [4],
    "index": [1],
    "believed": [True],
    "score": [0.5],
    "text": ["Stop at resistance."],
    "outcome": ["better"],
    "plan_text": ["a: [", "patient: 3", "suction: { depth_cm: x }\nphone: []"],
    "flow_text": ["version: 1"],
    "seed": [1],
    "live": [True],
    "source": ["saline"],
    "margin": [0.1],
    "heard": ["x"],
}
anything = (
    st.none()
    | st.booleans()
    | st.integers(-(10**15), 10**15)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8"), max_size=8)
    | st.lists(st.integers(0, 9), max_size=2)
    | st.dictionaries(st.sampled_from("ab"), st.integers(0, 9), max_size=1)
)
odd_events = st.fixed_dictionaries(
    {"kind": st.sampled_from(KINDS)},
    optional={name: st.sampled_from(values) | anything for name, values in FIELDS.items()},
)


@settings(
    max_examples=60,
    suppress_health_check=[
        HealthCheck.too_slow,
        HealthCheck.large_base_example,
        HealthCheck.data_too_large,
    ],
)
@given(
    st.lists(
        st.tuples(st.integers(0, 3) | st.integers(0, 10**12), odd_events), min_size=1, max_size=12
    )
)
def test_any_sound_journal_has_an_account(events):
    chain, mono_ms, data = Chain(), 0, b""
    for step_ms, event in events:
        mono_ms += step_ms
        data += chain.next_line(event, datetime(2026, 3, 14, tzinfo=UTC), min(mono_ms, 2**53 - 1))
    incident = build(read_bytes(data), "odd")
    assert Tree(render(incident)).wrong == []
    assert as_csv([incident]).count("\r\n") >= len(events)
    assert '"measures"' in as_json([incident])


# ---- colours: WCAG 2.2, success criterion 1.4.6, and its definition of relative luminance -----------------


def luminance(colour: str) -> float:
    def linear(channel: int) -> float:
        c = channel / 255
        return c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(int(colour[i : i + 2], 16)) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(a: str, b: str) -> float:
    low, high = sorted([luminance(a), luminance(b)])
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_published_figures():
    # #767676 on white is 4.54:1, black on white 21:1 (WCAG 2.2)
    assert round(contrast("#767676", "#ffffff"), 2) == 4.54
    assert contrast("#000000", "#ffffff") == 21


def test_every_text_has_contrast_7_to_1():
    colours = dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6});", CSS))
    rules = re.findall(r"([^{}]+)\{([^{}]*)\}", CSS.split("}", 1)[1])
    used = [re.search(r"(?<![\w-])(?:color|fill): var\(--([\w-]+)\)", body) for _, body in rules]
    text_colours = {match[1] for match in used if match}
    papers = [name for name in colours if name.startswith("paper")]
    inks = [name for name in text_colours if name.startswith("ink")]
    assert len(papers) == 3
    assert len(inks) >= 3
    for ink, paper in product(inks, papers):
        assert contrast(colours[ink], colours[paper]) >= 7, (ink, paper)
    for deep in ("deep", "deep-bad"):
        assert contrast(colours["on-deep"], colours[deep]) >= 7
    # light text stands only where the same rule, or the bar under it, is deep
    for selector, body in rules:
        if "color: var(--on-deep)" in body:
            assert "background: var(--deep" in body, selector
    # no colour outside the list, so that the list is all there is to check
    assert not re.findall(
        r"#[0-9a-f]{3,8}\b|rgba?\(|hsl\(", re.sub(r":root \{.*?\}", "", CSS, count=1, flags=re.S)
    )
    # lines that carry meaning: 3:1 (WCAG 2.2, 1.4.11)
    assert contrast(colours["line-strong"], colours["paper"]) >= 3


def test_what_is_touched_is_44_pixels(page):
    # WCAG 2.2, 2.5.5: each control's own rule sets both sizes
    for selector in (r"nav a", r"\.filters label", r"\.search input"):
        (body,) = re.findall(selector + r" \{([^}]*)\}", CSS)
        assert "min-height: 44px" in body
        assert "min-width: 44px" in body
    assert {tag for tag, _ in Tree(page).tags} & {"a", "button", "input", "select", "summary"} == {
        "a",
        "input",
    }
