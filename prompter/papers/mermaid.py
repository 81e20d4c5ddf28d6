"""The same pictures as Mermaid text, for a page that draws it: one flowchart for care, one for the call."""

from prompter.papers.picture import Picture


def mermaid(pictures: list[Picture], call: Picture) -> str:
    """Two flowcharts, parted by a comment. Parts are subgraphs; what works everywhere is left to its own picture."""
    care = ["flowchart TD"]
    number: dict[str, str] = {}
    for picture in pictures:
        care.append(f"  subgraph part{picture.number}[{_text(f'{picture.number} {picture.title}')}]")
        for box in picture.boxes:
            number[box.key] = f"s{len(number)}"
            care.append(f"    {number[box.key]}{_box(box.title, [line.text for line in box.lines if line.sort in _OWN])}")
        care.append("  end")
    for picture in pictures:
        for arrow in (*picture.arrows, *picture.leaving):
            care.append(f"  {number[arrow.source]} -->|{_text('<br>'.join(arrow.labels))}| {number[arrow.target]}")
    beside = ["flowchart TD"]
    name = {box.key: f"c{n}" for n, box in enumerate(call.boxes)}
    beside += [f"  {name[b.key]}{_box(b.title, [line.text for line in b.lines if line.sort in _OWN])}" for b in call.boxes]
    beside += [f"  {name[a.source]} -->|{_text('<br>'.join(a.labels))}| {name[a.target]}" for a in call.arrows]
    return "\n".join(["%% Care", *care, "", "%% The emergency call, a picture of its own", *beside]) + "\n"


_OWN = ("said", "asked", "beat")


def _box(title: str, lines: list[str]) -> str:
    return f"[{_text('<br>'.join([f'<b>{title}</b>', *lines]))}]"


def _text(text: str) -> str:
    # In quotes Mermaid takes anything but its own quote and entities' signs.
    return '"' + text.replace("#", "#35;").replace('"', "#quot;") + '"'
