"""The printed sheet, read as a phone reads it: rendered to pixels, each label cut out and its code decoded."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from PIL import Image

from commissioning.labels.sheet import Label, write_sheet
from commissioning.labels.stock import STOCKS, Stock

DPI = 300
URL = "https://tracker.ombrefell.example/t/01ARZ3NDEKTSV4RRFFQ69G5FA"
LONG = "=QPS1.GUB10-WC2.A-X1:47/PLANT-CONTROL+CABINET-NORTH.ROW-0012"  # 60 signs, the longest a tag may be


def cut_out(pdf: Path, stock: Stock, position: int, *, margin: float = 0) -> Image.Image:
    """One label as a printer sees it, cut out of its page; a code that reaches over the edge is lost."""
    sheet, x, y = stock.place(position)
    dots, size = DPI / 25.4, (stock.width + 2 * margin, stock.height + 2 * margin)
    corner = [str(round((side - margin) * dots)) for side in (x, y)]
    width, height = (str(round(side * dots)) for side in size)
    command = [
        "pdftoppm",
        "-r",
        str(DPI),
        "-gray",
        "-singlefile",
        "-f",
        str(sheet + 1),
        "-x",
        corner[0],
        "-y",
        corner[1],
    ]
    subprocess.run([*command, "-W", width, "-H", height, pdf, pdf.with_name("label")], check=True)
    return Image.open(pdf.with_name("label.pgm"))


def decoded(picture: Image.Image, folder: Path) -> list[str]:
    path = folder / "cut.png"
    picture.save(path, compress_level=1)
    found = subprocess.run(["zbarimg", "-q", "--raw", path], capture_output=True, text=True)
    return found.stdout.split()


def text_of(pdf: Path) -> str:
    return subprocess.run(["pdftotext", "-raw", pdf, "-"], check=True, capture_output=True, text=True).stdout


def labels(count: int) -> list[Label]:
    return [Label(f"{URL}{n % 10}", f"GUB{n:02d}-T1", "rectifier cabinet", "GUB10, Quillmarsh") for n in range(count)]


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_the_first_and_the_last_label_of_each_stock_are_read_inside_their_cut(stock: Stock, tmp_path: Path) -> None:
    pdf, last = tmp_path / "sheet.pdf", stock.a_sheet
    long = Label(URL, LONG, "link box of the plant control system", "GUB10, Quillmarsh")
    write_sheet(pdf, [long], stock, start=last, shift=(0, 0))
    assert LONG in text_of(pdf).replace("\n", ""), "the longest tag stands whole on its label"
    cut = cut_out(pdf, stock, last - 1)
    assert decoded(cut, tmp_path) == [URL]
    assert white_frame(cut), "nothing is printed over the edge of the label"
    write_sheet(pdf, labels(1), stock, shift=(0, 0))
    assert decoded(cut_out(pdf, stock, 0), tmp_path) == [f"{URL}0"]


def white_frame(cut: Image.Image) -> bool:
    """True when the outermost millimetre of the label is white."""
    edge = round(DPI / 25.4)
    frame = cut.copy()
    frame.paste(255, (edge, edge, cut.width - edge, cut.height - edge))
    return frame.getextrema() == (255, 255)


def test_a_sheet_begun_before_goes_on_at_its_first_free_label(tmp_path: Path) -> None:
    stock, pdf = STOCKS["a4-70x37"], tmp_path / "sheet.pdf"
    write_sheet(pdf, labels(3), stock, start=23, shift=(0, 0))
    found = [decoded(cut_out(pdf, stock, n), tmp_path) for n in (21, 22, 23, 24)]
    assert found == [[], [f"{URL}0"], [f"{URL}1"], [f"{URL}2"]]


def test_a_printer_that_is_out_is_put_right(tmp_path: Path) -> None:
    stock, pdf = STOCKS["a4-63x38"], tmp_path / "sheet.pdf"
    places = []
    for shift in ((0.0, 0.0), (3.0, -2.0)):
        write_sheet(pdf, labels(1), stock, shift=shift)
        black = cut_out(pdf, stock, 0, margin=5).point(lambda shade: 255 * (shade < 128)).getbbox()
        places.append(black[:2])
    moved = [(new - old) * 25.4 / DPI for old, new in zip(*places, strict=True)]
    assert moved == pytest.approx([3.0, -2.0], abs=0.15)


def test_a_tag_in_another_script_is_written_in_its_own_letters(tmp_path: Path) -> None:
    pdf = tmp_path / "sheet.pdf"
    write_sheet(pdf, [Label(URL, "电池-1", "مولد")], STOCKS["a4-63x38"], shift=(0, 0))
    assert "电池-1" in text_of(pdf)


# Independent: the paper sizes of ISO 216 and of ANSI/ASME Y14.1 (8.5 × 11 in); labels must lie on them, apart.
@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_labels_of_a_stock_lie_on_the_paper_beside_each_other(stock: Stock) -> None:
    assert stock.page == pytest.approx({"A4": (210.0, 297.0), "Letter": (8.5 * 25.4, 11 * 25.4)}[stock.paper])
    _, x, y = stock.place(stock.a_sheet - 1)
    right, bottom = stock.page[0] - x - stock.width, stock.page[1] - y - stock.height
    assert right == pytest.approx(stock.left, abs=0.1), "columns are centred on such sheets"
    assert bottom == pytest.approx(stock.top, abs=0.1), "rows are centred on such sheets"
    assert stock.gap_x >= 0
    assert stock.gap_y >= 0
