"""Hears readings: oxygen saturation in percent and heart rate a minute, in words or digits."""


def number_in(text: str) -> tuple[str, int] | None:
    return None
