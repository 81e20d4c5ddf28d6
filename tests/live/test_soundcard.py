"""Which loudspeaker is opened: one that opens but does not play gives way to another."""

from typing import Any

import pytest

from prompter import limits
from prompter.errors import CannotDo
from prompter.live import soundcard
from prompter.live.soundcard import SoundCard
from prompter.speak import loudspeaker

NAMES = {None: "hall", 0: "hall", 1: "kitchen"}


class Clock:
    now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch) -> Any:
    """A card whose default loudspeaker is 'hall'; 'kitchen' is there too. `played`: what was opened."""

    class Loudspeaker:
        def __init__(self, mixer: Any, name: Any, tap: Any) -> None:
            self.device_name = NAMES[name]

        def start(self) -> None:
            if self.device_name in card.gone:
                raise CannotDo("unplugged", self.device_name)
            card.played.append(self.device_name)

    monkeypatch.setattr(SoundCard, "_start", lambda self: None)
    monkeypatch.setattr(soundcard, "_look_again", lambda: None)
    monkeypatch.setattr(loudspeaker, "Loudspeaker", Loudspeaker)
    monkeypatch.setattr(loudspeaker, "every_device", lambda kind: [0, 1])
    monkeypatch.setattr(loudspeaker, "name_of", lambda name: NAMES[name])
    clock = Clock()
    monkeypatch.setattr(soundcard, "time", clock)
    card = SoundCard(lambda message: card.told.append(message), lambda block: None, None, None, False)  # type: ignore[func-returns-value]
    card.told, card.played, card.gone, card.clock = [], [], set(), clock  # type: ignore[attr-defined]
    card._mixer = object()  # type: ignore[assignment]
    card.look()
    return card


def lose(card: Any, after_s: float) -> None:
    card.clock.now_s += after_s
    card.lost("loudspeaker")
    card.look()


def test_the_default_one_is_tried_again_before_another(card: Any) -> None:
    lose(card, 60)
    assert card.played == ["hall", "hall"]


def test_one_that_does_not_play_gives_way_and_that_is_told(card: Any) -> None:
    lose(card, 60)
    lose(card, limits.OPENED_IN_VAIN_S - 1)
    assert card.played == ["hall", "hall", "kitchen"]
    assert ("other device", ("loudspeaker", "hall takes no sound. Instead: kitchen.")) in card.told


def test_when_none_plays_it_begins_with_the_default_again(card: Any) -> None:
    for _ in range(3):
        lose(card, 1)
    assert card.played[-3:] == ["kitchen", "hall", "kitchen"]


def test_one_that_played_for_long_is_no_failure(card: Any) -> None:
    lose(card, 1)
    lose(card, 600)
    assert card.played == ["hall", "kitchen", "hall"]


def test_where_there_is_no_other_it_stays(card: Any) -> None:
    card.gone = {"kitchen"}
    lose(card, 1)
    assert card.played == ["hall", "hall"]
