"""The parts of a flow as its file names them: headings between its steps, such as `# ---- suction`."""

import re

_HEADING = re.compile(r"^ {2}# -{2,} *(\S.*?) *$")
_STEP = re.compile(r"^ {2}([^\s#:][^:#]*):")


def parts(text: str, steps: list[str], title: str) -> list[tuple[str, list[str]]]:
    """(heading, its steps) in the file's order; steps before any heading are under `title`.

    `steps`: those that are wanted; headings without any are left out.
    """
    found: list[tuple[str, list[str]]] = [(title, [])]
    wanted, inside = set(steps), False
    for line in text.splitlines():
        if re.match(r"^\S", line) and not line.startswith("#"):
            inside = line.startswith("steps:")
        elif inside and (heading := _HEADING.match(line)):
            found.append((_capital(heading[1]), []))
        elif inside and (step := _STEP.match(line)) and step[1].strip("\"'") in wanted:
            found[-1][1].append(step[1].strip("\"'"))
    placed = {name for _, names in found for name in names}
    found[0][1].extend(name for name in steps if name not in placed)
    return [(heading, names) for heading, names in found if names]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
