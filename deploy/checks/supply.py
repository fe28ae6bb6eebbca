"""`python -m deploy.checks.supply [--to FOLDER]`: what the product is made of, its licences, the advisories on it.

Writes `bill-of-materials.cdx.json` (CycloneDX), `licences.csv` and `advisories.json`. Ends with 1 where an advisory is
open or the licence of something that the product runs on is not known or not among those that were looked at. Where
the database of advisories cannot be reached, it says how many packages were not audited; `--strict` makes that a
failure too.
"""

from __future__ import annotations

import argparse
import csv
import json
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from importlib import metadata
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent.parent
PRODUCT = "commissioning-tracker"
#: Words of licences that were looked at: these let the product be run and handed on as it is, unchanged.
LOOKED_AT = (
    *("MIT", "BSD", "Apache", "ISC", "PSF", "Python Software Foundation", "MPL", "Mozilla", "OFL", "Zlib", "0BSD"),
    *("LGPL", "Lesser General Public", "HPND", "CNRI", "Unlicense", "CC0", "Public Domain"),
)


def packages_of(name: str) -> set[str]:
    """The package and all that it needs to run on this machine, by canonical name; extras only where asked for."""
    found: set[str] = set()
    seen: set[tuple[str, str]] = set()
    waiting: list[tuple[str, str]] = [(name, "")]
    while waiting:
        one = waiting.pop()
        if one in seen:
            continue
        seen.add(one)
        found.add(canonicalize_name(one[0]))
        for line in metadata.requires(one[0]) or ():
            needed = Requirement(line)
            if needed.marker is None or needed.marker.evaluate({"extra": one[1]}):
                waiting += [(needed.name, extra) for extra in ("", *needed.extras)]
    return found


def bill_of_materials(to: Path) -> int:
    """Write the CycloneDX document; how many components it names."""
    arguments = ["cyclonedx_py", "environment", "--pyproject", str(ROOT / "pyproject.toml")]
    _run([*arguments, "--output-reproducible", "--of", "JSON", "-o", str(to), sys.executable])
    document = json.loads(to.read_text())
    return len(document["components"])


def licences(to: Path, runs_on: set[str]) -> tuple[Counter[str], list[str]]:
    """Write the list; how often each licence stands in what the product runs on, and what is not known or looked at."""
    rows = json.loads(_run(["piplicenses", "--format=json", "--from=mixed", "--with-urls"]))
    counted: Counter[str] = Counter()
    wrong: list[str] = []
    with to.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(["package", "version", "licence", "needed for", "address"])
        for row in rows:
            name = canonicalize_name(row["Name"])
            licence, runs = row["License"], name in runs_on
            out.writerow([row["Name"], row["Version"], licence, "running" if runs else "building", row["URL"]])
            if runs and name != canonicalize_name(PRODUCT):
                counted[licence] += 1
                if not any(words in licence for words in LOOKED_AT):
                    wrong.append(f"{row['Name']}: {licence}")
    return counted, wrong


def advisories(to: Path) -> tuple[int, list[str], list[str]]:
    """Ask for advisories; how many packages were audited, which were not, and what is open."""
    done = subprocess.run(
        [sys.executable, "-m", "pip_audit", "--local", "--format", "json", "--progress-spinner", "off"],
        capture_output=True,
        text=True,
        check=False,
    )
    try:
        rows: list[dict[str, Any]] = json.loads(done.stdout)["dependencies"]
    except (ValueError, KeyError):
        rows = []  # it said nothing that can be read: nothing was audited
    to.write_text(json.dumps(rows, indent=1) or done.stderr)
    skipped = [row["name"] for row in rows if "skip_reason" in row and row["name"] != PRODUCT]
    asked = [row for row in rows if "skip_reason" not in row]
    found = [f"{row['name']} {row['version']}: {one['id']}" for row in asked for one in row["vulns"]]
    return len(asked), skipped if rows else ["everything"], found


def main(given: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--to", type=Path, help="where the three files go; without it they are only counted")
    parser.add_argument("--strict", action="store_true", help="fail where advisories could not be asked for")
    options = parser.parse_args(given)
    with tempfile.TemporaryDirectory() as scratch:
        folder: Path = options.to or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        runs_on = packages_of(PRODUCT)
        components = bill_of_materials(folder / "bill-of-materials.cdx.json")
        counted, wrong = licences(folder / "licences.csv", runs_on)
        audited, skipped, found = advisories(folder / "advisories.json")
    print(f"bill of materials (CycloneDX): {components} components")
    print(
        f"licences: {counted.total()} packages to run on; "
        + ", ".join(f"{n} {one}" for one, n in counted.most_common())
    )
    for one in wrong:
        print(f"LICENCE NOT KNOWN OR NOT LOOKED AT: {one}")
    print(f"advisories: {audited} packages audited, {len(found)} advisories open, {len(skipped)} packages not audited")
    if not audited:
        print("NOTHING WAS AUDITED: the database of advisories cannot be reached from here. Run this where it can be.")
    for one in found:
        print(f"ADVISORY OPEN: {one}")
    incomplete = options.strict and (skipped or not audited)
    return 1 if wrong or found or incomplete else 0


def _run(arguments: Sequence[str]) -> str:
    done = subprocess.run([sys.executable, "-m", *arguments], capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{arguments[0]}: {done.stderr.strip()}")
    return done.stdout


if __name__ == "__main__":
    sys.exit(main())
