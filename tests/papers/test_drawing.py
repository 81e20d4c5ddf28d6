"""The diagram: everything of the table is on it, each page is A4, and its type can be read."""

import re
import xml.etree.ElementTree as Xml

import pytest

from prompter.flow.call import ROWS
from prompter.flow.family import family_text
from prompter.flow.table import BACK_TO
from prompter.papers.layout import HEAD_PT, LEAST_PT, MARGIN_PT, sheets
from prompter.papers.mermaid import mermaid
from prompter.papers.parts import parts
from prompter.papers.picture import call_picture, care_pictures
from prompter.papers.svg import svg
from prompter.resources import flow_file, shared_file

TEXT = family_text(flow_file("breathing-trouble"))
PLANS = [shared_file("demo-plan.yaml"), *sorted(shared_file("plans").glob("*.yaml"))]


@pytest.fixture(params=PLANS, ids=lambda file: file.stem)
def table(request, tables):
    return tables(request.param)


def test_every_step_is_drawn_once_and_every_arrow_comes_from_a_row(table):
    _, *pages, everywhere = care_pictures(table, TEXT)
    drawn = [box.key for page in pages for box in page.boxes]
    assert sorted(drawn) == sorted(table.stands)
    # What comes back from a visit goes to where it came from, or round that as every way to it does.
    own = [r for r in table.rows if not r.everywhere and not r.trigger.startswith(BACK_TO) and r.trigger != "gap"]
    wanted = {(r.source, r.target) for r in own if r.target not in ("", "back", r.source)}
    assert {(a.source, a.target) for page in pages for a in (*page.arrows, *page.leaving)} == wanted
    assert {box.key for box in everywhere.boxes} == {r.trigger for r in table.rows if r.everywhere}


def test_every_lead_is_named_in_its_box(table):
    _, *pages, _ = care_pictures(table, TEXT)
    for page in pages:
        for box in page.boxes:
            told = "\n".join(line.text for line in box.lines)
            for arrow in (*page.arrows, *page.leaving):
                if arrow.source == box.key:
                    assert table.stands[arrow.target].title.rstrip(".") in told


def test_the_call_is_a_picture_of_its_own_with_all_its_rows(table):
    picture = call_picture(table)
    moves = {(s, t) for _, sources, t in ROWS for s in ([sources] if isinstance(sources, str) else sources) if t and s != t}
    assert {(a.source, a.target) for a in picture.arrows} == moves
    assert not {box.key for box in picture.boxes} & set(table.stands)


def test_pages_are_a4_with_type_of_seven_points_and_nothing_runs_off(table):
    for picture in [*care_pictures(table, TEXT), call_picture(table)]:
        drawn: list[str] = []
        for sheet in sheets(picture):
            # ISO 216: A4 is 210 by 297 mm; 72 pt are 25.4 mm.
            assert sorted(round(side * 25.4 / 72) for side in (sheet.width_pt, sheet.height_pt)) == [210, 297]
            assert sheet.type_pt >= LEAST_PT == 7
            scale = sheet.type_pt / LEAST_PT
            for placed in sheet.boxes:
                drawn.append(placed.box.key)
                assert placed.x > -0.1 and (placed.x + placed.width) * scale <= sheet.width_pt - 2 * MARGIN_PT + 0.1
                assert placed.y > -0.1 and (placed.y + placed.height) * scale <= sheet.height_pt - 2 * MARGIN_PT - HEAD_PT + 0.1
            assert not any(_overlap(a, b) for i, a in enumerate(sheet.boxes) for b in sheet.boxes[i + 1 :])
        assert sorted(drawn) == sorted(box.key for box in picture.boxes)


def _overlap(a, b):
    return a.x < b.x + b.width and b.x < a.x + a.width and a.y < b.y + b.height and b.y < a.y + a.height


def test_svg_is_xml_says_all_text_and_declares_its_size(table):
    for picture in [*care_pictures(table, TEXT), call_picture(table)]:
        for sheet in sheets(picture):
            root = Xml.fromstring(svg(sheet, "not approved & <so>"))
            assert {root.get("width"), root.get("height")} == {"210.0mm", "297.0mm"}
            said = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
            assert said[1] == "not approved & <so>" and sheet.title in said[0]
            for placed in sheet.boxes:
                assert {row.text for row in placed.rows} <= set(said)
            for element in root.iter("{http://www.w3.org/2000/svg}text"):
                if element.get("textLength"):  # whatever font the machine has, the line is as long as it was measured
                    assert element.get("lengthAdjust") == "spacingAndGlyphs" and float(element.get("textLength")) <= 0.9 * sheet.width_pt
            assert sum(bool(e.get("textLength")) for e in root.iter("{http://www.w3.org/2000/svg}text")) >= len(said) - 2
            sizes = {float(e.get("font-size")) for e in root.iter("{http://www.w3.org/2000/svg}text")}
            assert min(sizes) >= 7


def test_the_same_table_gives_the_same_bytes(demo_table):
    def drawn():
        return [svg(sheet, "") for picture in care_pictures(demo_table, TEXT) for sheet in sheets(picture)]

    assert drawn() == drawn()


def test_mermaid_has_two_flowcharts_every_step_and_balanced_quotes(table):
    _, *pages, _ = care_pictures(table, TEXT)
    care, call = mermaid(pages, call_picture(table)).split("\n\n")
    assert care.count("flowchart TD") == call.count("flowchart TD") == 1
    for chart in (care, call):
        nodes = set(re.findall(r"^ +([sc]\d+)\[", chart, re.MULTILINE))
        ends = {end for pair in re.findall(r"^ +([sc]\d+) -->\|\".*\"\| ([sc]\d+)$", chart, re.MULTILINE) for end in pair}
        assert nodes and ends <= nodes
        assert all(line.count('"') in (0, 2) for line in chart.splitlines())
    assert len(re.findall(r"^ +s\d+\[", care, re.MULTILINE)) == len(table.stands)


def test_parts_are_the_files_own_headings():
    text = "ways:\n  # ---- not a part\nsteps:\n\n  # ---- one\n  a:\n    title: x\n  b:\n\n  # --- none here\n  # ---- two\n  c:\n"
    assert parts(text, ["a", "b", "c"], "Whole") == [("One", ["a", "b"]), ("Two", ["c"])]
    assert parts("steps:\n  a:\n  b:\n", ["a", "b"], "Whole") == [("Whole", ["a", "b"])]
    assert parts("", ["a"], "Whole") == [("Whole", ["a"])]
