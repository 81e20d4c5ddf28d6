"""Drawn orders: each that waits is taken once, in an order that the seed alone decides."""

from prompter.proof.drawn import Drawn


def order(seed: int) -> list[int]:
    drawn, taken = Drawn(seed), []
    for number in range(40):
        drawn.append((number, None))  # type: ignore[arg-type]
        if number % 3 == 2:
            taken.append(drawn.popleft()[0])
    while drawn:
        taken.append(drawn.popleft()[0])
    return taken


def test_all_that_wait_are_taken_once_and_the_seed_decides_the_order():
    assert sorted(order(1)) == list(range(40))
    assert order(1) == order(1) != order(2)
    assert order(1) != sorted(order(1))
