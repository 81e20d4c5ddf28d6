"""A few small journals of two flow versions, whose answers are worked out by hand in these comments.

Version 1, hill: care stands in `look` 0 to 4 s, in `bag` 4 to 24 s (nobody answers), in `watch` to the end
at 30 s. Version 1, river: `look` 0 to 8 s (at 5 s `flat` is not believed), `bag` 8 to 18 s, then "wrong":
`watch` 18 to 19 s, `bag` again 19 to 29 s (nobody answers), `watch` to 39 s. Version 2, hill: `look` 0 to
2 s, `bag` 2 to 12 s, `watch` to 20 s; its call never comes on speaker.
"""

import csv
import os
from datetime import UTC, datetime, timedelta

import pytest

for library in ("ibis", "duckdb", "msgspec", "pyarrow"):
    pytest.importorskip(library, reason="the extra 'many' is not installed")

import duckdb

from prompter import cli
from prompter.errors import CannotDo
from prompter.journal.line import Chain
from prompter.review.many import summary
from prompter.review.many.run import review_many

BEGAN = datetime(2026, 2, 20, 3, tzinfo=UTC)


def moved(target, how="answered", answer=None, machine="care"):
    return {"kind": "moved", "machine": machine, "target": target, "how": how, "answer": answer}


def say(text, role="care"):
    return {"kind": "say", "role": role, "text": text}


def answered(answer):
    return {"kind": "answered", "answer": answer, "how": "spoken"}


BREATHS = [(lambda s, kind=kind: (s, {"kind": kind, "what": "breaths"})) for kind in ("pace", "beat")]
PACE, BEAT = BREATHS

HILL_1 = [
    (0, moved("look", "timed")), (0, say("Look.")), (4, answered("ok")), (4, moved("bag", answer="ok")), (4, say("Bag on.")),
    (6, moved("asked", "timed", machine="call")), PACE(10), BEAT(10.5), BEAT(14.5), (12, say("Bag on.")),
    (20, moved("on speaker", machine="call")), (24, moved("watch", "assumed")), (30, {"kind": "closed", "outcome": "better"}),
]  # fmt: skip
RIVER_1 = [
    (0, moved("look", "timed")), (0, say("Look.")), (5, {"kind": "unclear", "answer": "flat"}), (8, answered("ok")),
    (8, moved("bag", answer="ok")), (8, say("Bag on.")), (16, moved("asked", "timed", machine="call")),
    (18, answered("rising")), (18, moved("watch", answer="rising")), (19, answered("wrong")), (19, moved("bag", answer="wrong")),
    (19, say("Bag on.")), PACE(20), BEAT(20.5), (29, moved("watch", "assumed")), (39, {"kind": "closed", "outcome": "handed over"}),
]  # fmt: skip
HILL_2 = [
    (0, moved("look", "timed")), (0, say("Look.")), (2, answered("ok")), (2, moved("asked", "timed", machine="call")),
    (2, moved("bag", answer="ok")), (2, say("Bag on.")), PACE(5), BEAT(5.5), (12, answered("rising")),
    (12, moved("watch", answer="rising")), (20, {"kind": "closed", "outcome": "better"}),
]  # fmt: skip


def write(path, version, events, **opened):
    """A journal; events are (seconds since it began, record)."""
    chain = Chain()
    first = {"kind": "opened", "flow": "breathing-trouble", "flow_text": f"flow: breathing-trouble\nversion: {version}\n", "live": True, "note": f"{path.parent.name} {path.name}"}
    told = [(0, first | opened), (0, {"kind": "started"}), *sorted(events, key=lambda event: event[0])]
    lines = [chain.next_line(record, BEGAN + timedelta(seconds=s), round(1000 * s)) for s, record in told]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"".join(lines))
    return path


@pytest.fixture
def three(tmp_path):
    folder = tmp_path / "journals"
    write(folder / "hill" / "a.jsonl", 1, HILL_1)
    write(folder / "river" / "b.jsonl", 1, RIVER_1)
    write(folder / "hill" / "c.jsonl", 2, HILL_2)
    return folder


@pytest.fixture
def found(three, tmp_path):
    return review_many(three, tmp_path / "out", processes=1)


def row(table, version, **where):
    (one,) = [r for r in table.to_pylist() if f" {version} (" in r["flow"] and all(r[k] == v for k, v in where.items())]
    return one


def test_time_to_the_first_breath_and_the_call_by_flow_version(found):
    one, two = row(found.answers.flows, 1), row(found.answers.flows, 2)
    assert (one["incidents"], one["homes"], two["incidents"], two["homes"]) == (2, 2, 1, 1)
    # 10.5 and 20.5 s: half by 15.5, nine in ten by 10.5 + 0.9 * 10
    assert (one["first_breath_p50_s"], one["first_breath_p90_s"]) == pytest.approx((15.5, 19.5))
    assert (one["call_p50_s"], one["call_p90_s"]) == pytest.approx((11, 15))  # 6 and 16 s
    assert (one["called"], one["on_speaker"], one["on_speaker_p50_s"]) == (2, 1, 20)
    assert (two["first_breath_p50_s"], two["call_p50_s"], two["on_speaker"], two["on_speaker_p50_s"]) == (5.5, 2, 0, None)
    assert (one["better"], one["handed_over"], one["left_open"], two["better"]) == (0.5, 0.5, 0, 1)
    assert (one["assumed_an_incident"], one["asked_again_an_incident"]) == (1, 0.5)


def test_which_steps_stall(found):
    bag = row(found.answers.steps, 1, step="bag")  # stays of 20, 10 and 10 s; two of three unanswered
    assert (bag["stays"], bag["incidents"], bag["stay_p50_s"], bag["longest_s"]) == (3, 2, 10, 20)
    assert (bag["stay_p90_s"], bag["assumed"], bag["repeated"]) == pytest.approx((18, 2 / 3, 1 / 3))  # 10 + 0.8 * 10
    look = row(found.answers.steps, 1, step="look")  # 4 and 8 s; one answer of the second not believed
    assert (look["stay_p50_s"], look["stay_p90_s"], look["assumed"], look["asked_again"]) == pytest.approx((6, 7.6, 0, 0.5))
    watch = row(found.answers.steps, 1, step="watch")  # 6, 1 and 10 s: the last stay ends with the journal
    assert (watch["stays"], watch["stay_p50_s"], watch["longest_s"]) == (3, 6, 10)
    assert row(found.answers.steps, 2, step="bag")["assumed"] == 0


def test_a_step_lasts_until_the_last_event_whatever_it_is(tmp_path):
    """The journal breaks off without an end, 7 s after the step began, with an event that no question is about."""
    write(tmp_path / "j" / "a.jsonl", 1, [(0, moved("look")), (3, say("Look.")), (7, {"kind": "ticked"})])
    found = review_many(tmp_path / "j", tmp_path / "out", processes=1)
    assert row(found.answers.steps, 1, step="look")["stay_p50_s"] == 7
    (incident,) = found.answers.incidents.to_pylist()
    assert (incident["outcome"], incident["duration_s"], incident["first_breath_s"]) == ("open", 7, None)


def test_which_answers_are_misheard(found):
    flat, ok = (row(found.answers.answers, 1, step="look", answer=a) for a in ("flat", "ok"))
    assert (flat["heard"], flat["asked_again"], flat["believed"], ok["heard"], ok["asked_again"]) == (1, 1, 0, 2, 0)
    rising = row(found.answers.answers, 1, step="bag", answer="rising")
    assert (rising["heard"], rising["believed"], rising["taken_back"]) == (1, 1, 1)
    assert row(found.answers.answers, 2, step="bag", answer="rising")["taken_back"] == 0
    (pair,) = found.answers.confusions.to_pylist()
    assert (pair["step"], pair["answer"], pair["then"], pair["times"], pair["incidents"]) == ("look", "flat", "ok", 1, 1)


def test_which_prompts_need_repeating(found):
    bag = row(found.answers.prompts, 1, step="bag", text="Bag on.")  # said twice, once, once
    assert (bag["stays"], bag["most_times"]) == (3, 2)
    assert bag["repeated"] == pytest.approx(1 / 3)
    assert row(found.answers.prompts, 1, step="look", text="Look.")["repeated"] == 0
    # Version 2 ran in one home alone: its words are that home's, and not told.
    assert row(found.answers.prompts, 2, step="bag")["text"] is None


def test_the_same_figures_stand_in_csv_parquet_and_page(three, tmp_path, monkeypatch):
    monkeypatch.setattr(summary, "FEWEST", 1)
    found = review_many(three, tmp_path / "out", processes=1)
    with (tmp_path / "out" / "steps.csv").open(encoding="utf-8", newline="") as file:
        (told,) = [r for r in csv.DictReader(file) if r["step"] == "bag" and " 1 (" in r["flow"]]
    assert (float(told["stay_p90_s"]), float(told["assumed"])) == pytest.approx((18, 2 / 3))
    ((p90, assumed),) = duckdb.sql(
        f"SELECT stay_p90_s, assumed FROM read_parquet('{tmp_path}/out/steps.parquet') WHERE step = 'bag' AND flow LIKE '% 1 (%'"
    ).fetchall()
    assert (p90, assumed) == pytest.approx((18, 2 / 3))
    page = found.page.read_text("utf-8")
    assert ">67 % of 3" in page and ">33 % of 3" in page and ">100 % of 1" in page  # stalls, repeats, asked again
    assert "<td>67 %</td><td>10 s</td><td>18 s</td><td>20 s</td>" in page


# ---- folders and files as they come --------------------------------------------------------------


def test_other_formats_kinds_and_flows(tmp_path):
    folder = tmp_path / "j"
    plain = write(folder / "plain.jsonl", 1, HILL_1)
    write(folder / "kinds.jsonl", 1, [*HILL_1, (11, {"kind": "hummed", "tune": {"a": [1]}}), (13, {"kind": "say", "text": 7, "role": None})])
    write(folder / "flowless.jsonl", 1, HILL_1, flow=None, flow_text=None, program=3, variant="odd", plan_text=None)
    later = []
    for line in plain.read_bytes().splitlines():
        later.append(line.replace(b'"v":1}', b'"v":2}'))
    (folder / "later.jsonl").write_bytes(b"\n".join(later) + b"\n")
    found = review_many(folder, tmp_path / "out", processes=1)
    assert [(a.file, "format version is 2" in a.problem) for a in found.gathered.apart] == [("later.jsonl", True)]
    assert sorted(r["flow"].split(" (")[0] for r in found.answers.flows.to_pylist()) == ["breathing-trouble 1", "unknown"]
    assert {r["first_breath_s"] for r in found.answers.incidents.to_pylist()} == {10.5}
    assert found.answers.incidents.num_rows == 3


def test_folders_in_folders_empty_ones_and_a_single_journal(tmp_path):
    folder = tmp_path / "j"
    write(folder / "ward" / "2026" / "02" / "a.jsonl", 1, HILL_1)
    (folder / "empty" / "deeper").mkdir(parents=True)
    (folder / "named.jsonl").mkdir()  # a folder, whatever its name
    (folder / "ward" / "notes.txt").write_text("milk")
    found = review_many(folder, tmp_path / "out")
    assert found.answers.incidents.num_rows == 1 and not found.gathered.apart
    page = found.page.read_text("utf-8")
    assert "Account of 1 breathing emergency</h1>" in page and ">1 home, " in page and "None: every file was sound." in page


def test_what_cannot_be_read_is_set_apart_and_counted(tmp_path, monkeypatch, capsys):
    folder = tmp_path / "j"
    write(folder / "a.jsonl", 1, HILL_1)
    (folder / "empty.jsonl").write_bytes(b"")
    (folder / "gone.jsonl").symlink_to(tmp_path / "nowhere")
    (folder / "locked").mkdir()
    scandir = os.scandir

    def refusing(path):
        if str(path).endswith("locked"):
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refusing)
    with pytest.raises(SystemExit) as ended:
        cli.main(["review", "--many", str(folder), "--out", str(tmp_path / "out")])
    assert ended.value.code == 1
    assert "3 of 4 files set apart" in capsys.readouterr().err
    with (tmp_path / "out" / "set-apart.csv").open(encoding="utf-8", newline="") as file:
        told = {r["file"]: r["problem"] for r in csv.DictReader(file)}
    assert told["empty.jsonl"] == "the file is empty"
    assert "cannot be read" in told["gone.jsonl"] and "Permission denied" in told["locked"]


def test_a_file_for_a_folder_is_one_line(tmp_path):
    path = write(tmp_path / "a.jsonl", 1, HILL_1)
    with pytest.raises(CannotDo, match="a file, where a folder"):
        review_many(path, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_read_is_one_line(tmp_path, monkeypatch):
    folder, scandir = tmp_path / "j", os.scandir
    folder.mkdir()

    def refusing(path):
        if str(path) == str(folder):
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refusing)
    with pytest.raises(CannotDo, match="cannot be read"):
        review_many(folder, tmp_path / "out")


def test_a_journal_in_writing_counts_as_far_as_it_is(tmp_path):
    """Its last line is whole: an emergency that goes on now. Torn, it is set apart."""
    path = write(tmp_path / "j" / "a.jsonl", 1, HILL_1[:-1])
    write(tmp_path / "j" / "b.jsonl", 1, HILL_1)
    path.with_name("torn.jsonl").write_bytes(path.read_bytes()[:-9])
    found = review_many(tmp_path / "j", tmp_path / "out", processes=1)
    assert sorted(r["outcome"] for r in found.answers.incidents.to_pylist()) == ["better", "open"]
    ((file, problem),) = found.gathered.apart
    assert file == "torn.jsonl" and "breaks off" in problem


def test_of_two_copies_the_one_that_tells_more_counts(tmp_path):
    """One was copied while the emergency went on."""
    write(tmp_path / "j" / "a.jsonl", 1, HILL_1[:-1], note="one")
    write(tmp_path / "j" / "b.jsonl", 1, HILL_1, note="one")
    found = review_many(tmp_path / "j", tmp_path / "out", processes=1)
    (incident,) = found.answers.incidents.to_pylist()
    assert (incident["outcome"], incident["duration_s"]) == ("better", 30)
    assert [copy.file for copy in found.gathered.twice] == ["b.jsonl"]
