"""What waits to be walked, taken in an order drawn by a seed: what is met first stands for all that count as the same."""

import random
from collections.abc import Hashable

from prompter.proof.node import Node


class Drawn:
    """As much of a deque as the walk uses."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)
        self._waiting: list[tuple[Hashable, Node]] = []

    def append(self, waiting: tuple[Hashable, Node]) -> None:
        self._waiting.append(waiting)

    def popleft(self) -> tuple[Hashable, Node]:
        """Any of them."""
        waiting = self._waiting
        at = self._random.randrange(len(waiting))
        waiting[at], waiting[-1] = waiting[-1], waiting[at]
        return waiting.pop()

    def __len__(self) -> int:
        return len(self._waiting)
