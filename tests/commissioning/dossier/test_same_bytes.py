"""One content gives one file, whatever the machine's language, zone, hash seed or number of processes."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

from commissioning.dossier import fonts, page
from commissioning.dossier.canonical import dumps
from tests.commissioning.dossier import sample

PROGRAM = """
import json, sys
from pathlib import Path
from commissioning.dossier.render import build
content = json.loads(Path(sys.argv[1]).read_text("utf-8"))
folder, work = Path(sys.argv[2]), Path(sys.argv[3])
work.mkdir()
out, processes = work / "d.pdf", int(sys.argv[4])
report = build(content, files=lambda digest: folder / digest, workdir=work, out=out, processes=processes)
assert "django" not in sys.modules, "the dossier is drawn without Django"
print(report.sha256)
"""
ROOMS = Path(__file__).resolve().parents[3]


def built_by(content: Path, files: Path, work: Path, processes: int, **settings: str) -> str:
    environment = {**os.environ, "PYTHONPATH": str(ROOMS), **settings}
    environment.pop("DJANGO_SETTINGS_MODULE", None)
    command = [sys.executable, "-c", PROGRAM, str(content), str(files), str(work), str(processes)]
    done = subprocess.run(command, env=environment, cwd=work.parent, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_two_machines_build_the_same_bytes(tmp_path: Path) -> None:
    content = sample.content(3)
    content["systems"][0]["equipment"] += sample.SCRIPTS
    sample.files_for(content, tmp_path / "files")
    (tmp_path / "content.json").write_text(dumps(content), "utf-8")
    places = (tmp_path / "content.json", tmp_path / "files")
    one = built_by(*places, tmp_path / "one", 1, LANG="C", TZ="Pacific/Auckland", PYTHONHASHSEED="1")
    two = built_by(*places, tmp_path / "two", 2, LANG="tr_TR.UTF-8", TZ="America/Lima", PYTHONHASHSEED="987")
    assert one == two
    assert one == hashlib.sha256((tmp_path / "one" / "d.pdf").read_bytes()).hexdigest()
    assert (tmp_path / "one" / "d.pdf").read_bytes() == (tmp_path / "two" / "d.pdf").read_bytes()


def test_other_content_gives_another_file(tmp_path: Path) -> None:
    content = sample.content(1, readings=4, photos=1, plots=0)
    sample.files_for(content, tmp_path / "files")
    sums = []
    for reason in ("Capacity tests added", "Capacity tests added."):
        content["revisions"][1]["reason"] = reason
        (tmp_path / "content.json").write_text(dumps(content), "utf-8")
        sums.append(built_by(tmp_path / "content.json", tmp_path / "files", tmp_path / f"w{len(sums)}", 1))
    assert sums[0] != sums[1]


def test_what_is_measured_but_not_drawn_is_not_embedded(tmp_path: Path) -> None:
    """Measures are kept from one dossier to the next, so a section must not embed a letter for having measured it.

    Also of words that the main face cannot write alone.
    """
    sheet = page.Sheet(tmp_path / "one.pdf", "A4")
    for words in ("Ŵhole tĩtle", "قاطع Ŷ 水泵站"):
        page.wrap(words, 500.0, fonts.REGULAR, 7.0)
        fonts.width(words, fonts.REGULAR, 7.0)
    sheet.write(100, 100, "hole")
    drawn = sheet.finish().glyphs
    assert sorted(drawn[fonts.REGULAR].values()) == ["e", "h", "l", "o"]
    assert set(drawn) == {fonts.REGULAR}
