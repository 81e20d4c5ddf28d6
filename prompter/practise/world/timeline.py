"""What will happen when: the simulated world's own order of things."""

import heapq
from collections.abc import Callable
from typing import Any

NEVER = 1 << 60


class Timeline:
    """Calls in the order of their times, those at one time in the order they were made. ms."""

    def __init__(self) -> None:
        self.now = 0
        self._heap: list[tuple[int, int, Callable[..., None], tuple[Any, ...]]] = []
        self._made = 0
        self.next_at = NEVER

    def after(self, ms: float, call: Callable[..., None], *args: Any) -> None:
        self._made += 1
        heapq.heappush(self._heap, (self.now + max(0, int(ms)), self._made, call, args))
        self.next_at = self._heap[0][0]

    def step(self) -> None:
        at, _, call, args = heapq.heappop(self._heap)
        self.next_at = self._heap[0][0] if self._heap else NEVER
        if at > self.now:
            self.now = at
        call(*args)
