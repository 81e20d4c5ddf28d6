"""The picture fits every window, keeps what matters most, and is big where there is room."""

import pytest
from rich.console import Console

from prompter.flow.machine import FlowMachine
from prompter.live.layout import picture
from prompter.live.letters import BLOCKS, BOLD, PLAIN, big
from prompter.live.preparing import prepare
from prompter.live.shown import Shown

KEYS = (("1", "going up"), ("2", "chest flat"), ("3", "breathing fine"))
MORE = tuple((letter, f"answer {letter}") for letter in "abcdefghijklmnopqrstuvwxy")
PARTS = (("call", "asked"), ("microphone", "MISSING"), ("sound", "on"))
SHOWN = Shown("Keep squeezing", "Is the chest going up?", KEYS, MORE, PARTS, notice="Ctrl-C again to close.")


def drawn(shown: Shown, columns: int, rows: int, blocks: bool = True) -> list[str]:
    console = Console(width=columns, color_system=None, legacy_windows=False, force_terminal=True)
    lines = console.render_lines(picture(shown, columns, rows, blocks), pad=False)
    return ["".join(segment.text for segment in line) for line in lines]


@pytest.mark.parametrize("columns", [20, 40, 60, 80, 100, 132, 200])
@pytest.mark.parametrize("rows", [4, 10, 14, 24, 40, 60, 100])
def test_it_fits_every_window(columns: int, rows: int) -> None:
    lines = drawn(SHOWN, columns, rows)
    assert 0 < len(lines) <= rows
    assert max(len(line.rstrip()) for line in lines) <= columns


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (100, 40), (160, 60)])
def test_the_step_is_big_and_all_keys_stand_beside_their_answers(columns: int, rows: int) -> None:
    lines = drawn(SHOWN, columns, rows)
    assert any(sign in lines[0] for sign in BLOCKS)
    text = "\n".join(lines)
    for key, wording in MORE:
        assert f"{key}: {wording}" in text
    for word in ("call: asked", "microphone: MISSING", "Ctrl-C again to close."):
        assert word in text


def test_a_small_window_keeps_step_prompt_notice_and_keys() -> None:
    text = "\n".join(drawn(SHOWN, 40, 8))
    for word in ("KEEP SQUEEZING", "Is the chest going up?", "Ctrl-C again", "2  chest flat"):
        assert word in text


def test_own_keys_are_big_where_there_is_room() -> None:
    lines = drawn(SHOWN, 160, 60)
    assert not any("chest flat" in line for line in lines)  # drawn, not written


def test_the_number_being_typed_is_seen() -> None:
    text = "\n".join(drawn(Shown("Look", typed="8"), 80, 24))
    assert "Oxygen number: 8" in text


@pytest.mark.parametrize("font", [BOLD, PLAIN])
def test_letters_wrap_between_words_and_stay_within_the_width(font: str) -> None:
    art = big("Is the chest going up?", font, 80)
    assert art is not None and max(map(len, art.split("\n"))) <= 80
    assert big("Resuscitation", font, 30) is None


def test_a_terminal_without_block_characters_gets_ascii() -> None:
    assert "\n".join(drawn(SHOWN, 100, 60, blocks=False)).isascii()


def test_every_step_of_the_flow_is_big_in_an_ordinary_window(tmp_path, monkeypatch) -> None:
    """Common practice, no source: a window of 100 by 40 is read from two metres if letters have four
    rows at least; 80 by 24 is the smallest that terminals open with."""
    monkeypatch.setenv("PROMPTER_HOME", str(tmp_path))
    machine = FlowMachine(prepare(None).table)
    for step in machine.table.stands:
        machine.step = step
        view = machine.view()
        shown = Shown(
            view.title, "Is the chest going up?", tuple((k, w) for k, _, w in view.own_keys),
            tuple((k, w) for k, _, w in view.everywhere_keys), PARTS,
        )  # fmt: skip
        lines = drawn(shown, 100, 40)
        assert any(sign in line for sign in BLOCKS for line in lines[:4]), step
