"""The rows that are aimed at, beside those of other seeds.

Run: python tests/benchmarks/seeds.py PAGE... > reports/seeds.md. Each PAGE is what a benchmark printed with another
seed; those in reports/ are read beside them.
"""

import re
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

REPORTS = Path(__file__).parents[2] / "reports"
TOLD: Mapping[str, re.Pattern[str]] = {
    "county": re.compile(r"10|mean of 1 to 10|tool less rival|this tool"),
    "verdicts": re.compile(r"this tool"),
    "chances": re.compile(r"all|\d+, all"),
    "coverage": re.compile(r"all"),
}
"""Rows of each benchmark that its aims are about."""
MADE_BY = re.compile(r"tests/benchmarks/(\w+)\.py [\d ]*?(\d+)`")
PREAMBLE = """\
# Do the benchmarks depend on their seeds?

Made by `python tests/benchmarks/seeds.py`. It shows the rows that the aims are about, of the pages
[county](county.md), [verdicts](verdicts.md), [chances](chances.md) and [coverage](coverage.md). Each is beside the
same benchmark run with two more seeds after everything was settled. The pages say what is aimed at, and how each is
made. ± is the Monte-Carlo standard error within a seed.

What is met with one seed is met with all, within these errors, and so is what is missed. These aims are missed:

- The changes where practices do not differ: 1 a county, not 0.3. A single trial raises something by the 3 g that a
  change must gain. Such a change gives up nothing. A rule that asks for surety as well gives up more where they differ.
- The regret where losses differ: 1.4 g more than the best pooled mean. Most of it comes of what is tried in the next
  season.
- Claims of "better" after a single trial where seasons favour cultivars with 15 g: four in five come true. One season
  cannot tell how seasons differ, and the prior of that has a scale of 7 g.
- The gains of one trial: their error is 0.72 to 1.07 of the cell means', not 0.6.
- The intervals of the dose: they hold 99 of 100, and could be narrower.
"""


def rows(page: str, told: re.Pattern[str]) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Sections, table headings and cells of the rows that are told."""
    section, head = "", ""
    lines = page.splitlines()
    for line, after in zip(lines, [*lines[1:], ""], strict=True):
        if line.startswith("## "):
            section = line[3:]
        elif line.startswith("|") and after.startswith("|---"):
            head = line
        elif line.startswith("|") and not line.startswith("|---"):
            cells = tuple(cell.strip() for cell in line.strip("|").split("|"))
            if told.fullmatch(cells[0]):
                yield section, head, cells


def main() -> None:
    """Print the page."""
    pages = [path.read_text("utf-8") for path in [*(REPORTS / f"{name}.md" for name in TOLD), *map(Path, sys.argv[1:])]]
    print(PREAMBLE)
    for name, told in TOLD.items():
        print(f"# {name.capitalize()}")
        of_seed: dict[str, dict[tuple[str, str], list[tuple[str, ...]]]] = {}
        for page in pages:
            made_by = MADE_BY.search(page)
            if made_by and made_by[1] == name:
                found = of_seed.setdefault(made_by[2], {})
                for section, head, cells in rows(page, told):
                    found.setdefault((section, head), []).append(cells)
        before = ""
        for section, head in next(iter(of_seed.values())):
            if section != before:
                print(f"\n## {section}")
            before = section
            print(f"\n| seed {head}\n|---{re.sub(r'[^|]+', '---', head)}")
            for of_row in zip(*(found[section, head] for found in of_seed.values()), strict=True):
                for seed, cells in zip(of_seed, of_row, strict=True):
                    print(f"| {seed} | {' | '.join(cells)} |")
        print()


if __name__ == "__main__":
    main()
