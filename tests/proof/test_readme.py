"""README shows the properties as they are, and a page of the flow as it is drawn today."""

import re
from pathlib import Path

import typer
from typer.testing import CliRunner

from prompter.cli_papers import draw
from prompter.proof.check import PROPERTIES

README = Path(__file__).parents[2] / "README.md"


def test_readme_lists_every_property_with_its_limit():
    found = dict(re.findall(r"^\| ([^|]+) \| [^|]+ \| ([^|]*) \| [^|]* \|$", README.read_text(encoding="utf-8").split("<details>")[1].split("</details>")[0], re.MULTILINE))
    found = {name: limit.strip() for name, limit in found.items() if name not in ("what must hold", "---")}
    assert found == {p.name: "" if p.limit is None else f"{p.limit:g} {p.unit}".strip() for p in PROPERTIES}
    assert f"({len(PROPERTIES)} of them" in README.read_text(encoding="utf-8")


def test_the_page_shown_is_drawn_from_todays_flow(tmp_path):
    """After a change of the flow: `prompter flow draw`, and copy care-2.svg to shared/pictures/suction-and-look.svg."""
    app = typer.Typer()
    app.command()(draw)
    assert CliRunner().invoke(app, ["--out", str(tmp_path)]).exit_code == 0
    assert (README.parent / "shared" / "pictures" / "suction-and-look.svg").read_bytes() == (tmp_path / "care-2.svg").read_bytes()
    assert "(shared/pictures/suction-and-look.svg)" in README.read_text(encoding="utf-8")
