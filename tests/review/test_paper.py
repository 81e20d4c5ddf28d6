"""The PDF: A4 without a system package, read back by another library, whole for any content."""

import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from prompter.journal import read
from prompter.review import build
from prompter.review.account import ten_lines
from prompter.review.paper import as_pdf
from prompter.review.questions import questions


def words_of(pdf: bytes) -> str:
    return " ".join(" ".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages).split())


def test_it_says_what_the_page_says(incident):
    text = words_of(as_pdf(incident))
    for line in ten_lines(incident):
        assert line.lead in text
    for question in questions(incident):
        assert question.replace("→", "to") in text
    for shown in ("41 s within the limit", "Topjian et al.", "not a medical device", "14 March 2026, 02:41:07"):
        assert shown in text


def test_it_is_a4_and_the_same_each_time(incident):
    pdf = as_pdf(incident)
    reader = PdfReader(io.BytesIO(pdf))
    # ISO 216: A4 is 210 x 297 mm; a point is 1/72 inch
    for page in reader.pages:
        assert (round(float(page.mediabox.width) * 25.4 / 72), round(float(page.mediabox.height) * 25.4 / 72)) == (210, 297)
    assert pdf == as_pdf(incident)
    assert len(pdf) <= 500_000


def test_a_damaged_record_says_so(journal_file):
    path = journal_file.with_name("damaged.jsonl")
    path.write_bytes(journal_file.read_bytes().replace(b'"text":"Ties off."', b'"text":"Ties on!!"'))
    assert "The record is damaged" in words_of(as_pdf(build(read(path), "night")))


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.text(max_size=40) | st.just("long " * 4000) | st.just("<b>&amp;</para>"))
def test_any_text_can_be_printed(sample, tmp_path_factory, text):
    path = tmp_path_factory.mktemp("pdf") / "a.jsonl"
    text = text.encode("utf-8", "replace").decode()
    story = sample.Story().at(0, "opened").at(0, "started").say(1, text, text).at(2, "note", text=text)
    assert as_pdf(build(read(story.write(path)), text)).startswith(b"%PDF")


@pytest.mark.parametrize("seconds", [0, 1, 7200])
def test_any_length_can_be_drawn(sample, tmp_path, seconds):
    story = sample.Story().at(0, "opened").at(0, "started").at(seconds, "closed", outcome="open")
    assert as_pdf(build(read(story.write(tmp_path / "a.jsonl")), "a")).startswith(b"%PDF")


def test_no_words_of_the_picture_stand_over_each_other(sample, tmp_path):
    # As pypdfium2 finds them on the page: the boxes of what was drawn at one height.
    pdfium = pytest.importorskip("pypdfium2", reason="pypdfium2 (extra 'test') is not installed")
    story = sample.Story().at(0, "opened").at(0, "started")
    for n, t_s in enumerate((3, 3.5, 4, 20, 21, 85, 86, 87, 89)):
        story.at(t_s, "learned", what="tube", value=f"in, not yet proven {n}", how="assumed")
    pdf = as_pdf(build(read(story.at(95, "closed", outcome="open").write(tmp_path / "a.jsonl")), "a"))
    found: dict[int, list[tuple[float, float]]] = {}
    seen = 0
    for page in pdfium.PdfDocument(pdf):
        text = page.get_textpage()
        search = text.search("in, not yet proven")
        while place := search.get_next():
            boxes = [text.get_charbox(n) for n in range(place[0], place[0] + place[1] + 2)]
            if boxes[0][3] - boxes[0][1] > 6.0:  # a table's larger letters
                continue
            if text.get_text_range(place[0], place[1] + 12).find("(") < 0:
                continue
            seen += 1
            found.setdefault(round(boxes[0][1]), []).append((boxes[0][0], boxes[-1][2]))
    assert seen >= 9
    for places in found.values():
        places.sort()
        assert all(end < begin for (_, end), (begin, _) in zip(places, places[1:], strict=False))
