"""Writes a table: comment lines that say where it comes from, a header, rows."""

import csv
from importlib.metadata import version
from pathlib import Path

TABLES = Path(__file__).parent / "tables"


def versions(*packages):
    return ", ".join(f"{it} {version(it)}" for it in packages)


def write(name, about, packages, header, rows):
    """Numbers are written so that they read back as the same double."""
    rows = list(rows)
    with open(TABLES / name, "w", newline="") as file:
        made_with = versions(*packages) if packages else "the standard library of Python"
        file.write(f"# {about}\n# Script: tests/reference/{Path(name).stem}.py; made with {made_with}.\n")
        out = csv.writer(file, lineterminator="\n")
        out.writerow(header)
        out.writerows([float(it).__repr__() if isinstance(it, float) else it for it in row] for row in rows)
    print(name, len(rows), "rows")
