"""How long the account of an incident takes to make, and how large it is, in each form.

    python tests/bench/bench_review.py [JOURNAL ...] [--runs N] [--out FILE]

Without a journal: the sample of tests/review, five minutes long, one of twenty minutes and one of fifty.
Each run starts a new process
where the aim is for one (`prompter review`), so that the imports count; the rest is measured within one.
Ctrl-C ends it with what was measured so far.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from sample import Story, blocked_tube  # noqa: E402

from prompter.journal import read  # noqa: E402
from prompter.review import as_csv, as_json, build, render  # noqa: E402
from prompter.review.fhir import as_fhir  # noqa: E402
from prompter.review.paper import as_pdf  # noqa: E402

PAGE_S, PAGE_BYTES = 1.0, 500_000


def long_story(times: int) -> Story:
    """The sample again and again, 300 s each, as one emergency of many minutes."""
    whole = Story()
    for n in range(times):
        for t_s, event in blocked_tube().events:
            ends = event["kind"] == "closed" and n < times - 1
            if not ends and (n == 0 or event["kind"] not in ("opened", "started")):
                whole.at(t_s + n * 300, **event)
    return whole


def measured(make: Callable[[], str | bytes], runs: int) -> tuple[float, float, int]:
    """Median and longest seconds, and bytes."""
    took, size = [], 0
    for _ in range(runs):
        began = time.perf_counter()
        made = make()
        took.append(time.perf_counter() - began)
        size = len(made if isinstance(made, bytes) else made.encode())
    return sorted(took)[len(took) // 2], max(took), size


def command(journal: Path) -> Callable[[], bytes]:
    def run() -> bytes:
        page = journal.with_suffix(".bench.html")
        subprocess.run([sys.executable, "-m", "prompter.cli", "review", str(journal), "--out", str(page)],
                       check=True, capture_output=True)  # fmt: skip
        return page.read_bytes()

    return run


def forms(journal: Path) -> dict[str, Callable[[], str | bytes]]:
    incident = build(read(journal), journal.name)
    return {
        "page, with `prompter review` started anew": command(journal),
        "page": lambda: render(build(read(journal), journal.name)),
        "page, anonymous": lambda: render(build(read(journal), journal.name, anonymous=True)),
        "PDF": lambda: as_pdf(incident),
        "CSV": lambda: as_csv([incident]),
        "JSON": lambda: as_json([incident]),
        "FHIR R4B": lambda: as_fhir(incident, "R4B"),
        "FHIR R5": lambda: as_fhir(incident, "R5"),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("journals", nargs="*", type=Path)
    parser.add_argument("--runs", type=int, default=7)
    parser.add_argument("--out", type=Path, default=Path("bench-review.json"))
    given = parser.parse_args()
    found = []
    with tempfile.TemporaryDirectory() as folder:
        journals = given.journals or [
            blocked_tube().write(Path(folder) / "sample.jsonl"),
            *(long_story(n).write(Path(folder) / f"{5 * n}-minutes.jsonl") for n in (4, 10)),
        ]
        print(f"{'journal':<22} {'form':<43} {'median':>8} {'longest':>8} {'kB':>8}")
        try:
            for journal in journals:
                for form, make in forms(journal).items():
                    median_s, longest_s, size = measured(make, given.runs)
                    is_page = form.startswith("page")
                    held = (longest_s <= PAGE_S and size <= PAGE_BYTES) if is_page else None
                    row = {"journal": journal.name, "form": form, "median_s": round(median_s, 3),
                           "longest_s": round(longest_s, 3), "bytes": size, "runs": given.runs, "held": held}  # fmt: skip
                    found.append(row)
                    missed = "  MISSED" if held is False else ""
                    print(f"{journal.name:<22} {form:<43} {median_s:7.3f}s {longest_s:7.3f}s {size / 1000:8.0f}{missed}")
        except KeyboardInterrupt:
            print("interrupted: what was measured so far is kept")
        given.out.write_text(json.dumps({"aim_s": PAGE_S, "aim_bytes": PAGE_BYTES, "rows": found}, indent=1))
    sys.exit(any(row["held"] is False for row in found))


if __name__ == "__main__":
    main()
