"""Everything on paper, seen by other people's software: poppler, zbar, zxing-cpp, OpenCV, stdnum."""

import itertools
import json
import re
import subprocess

import cv2
import numpy as np
import pytest
import segno
import zxingcpp
from conftest import Program
from PIL import Image
from stdnum.iso7064 import mod_37_2

SYMBOLS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
A4_MM, LETTER_MM = (210.0, 297.0), (215.9, 279.4)


@pytest.fixture(scope="module")
def codes(tmp_path_factory):
    return Program(tmp_path_factory.mktemp("codes")).json("code", "new", "-n", 200)


def tool(*command):
    return subprocess.run([str(c) for c in command], capture_output=True, text=True, check=True).stdout


def pages(pdf, dpi):
    """Grey pictures of all pages, as poppler draws them."""
    stem = pdf.with_suffix("")
    tool("pdftoppm", "-r", dpi, "-gray", pdf, stem)
    found = sorted(pdf.parent.glob(f"{stem.name}-*.pgm"))
    pictures = [np.asarray(Image.open(path)) for path in found]
    for path in found:
        path.unlink()
    return pictures


def sizes_mm(pdf):
    """Width and height of every page by pdfinfo."""
    text = tool("pdfinfo", "-f", 1, "-l", 99, pdf)
    found = re.findall(r"^Page +(?:\d+ +)?size: +([\d.]+) x ([\d.]+) pts", text, re.M)
    return [tuple(float(v) / 72 * 25.4 for v in pair) for pair in found]


def bar_mm(picture, dpi, least_mm):
    """Length of the longest thin horizontal line with an upright tick at either end, mm.

    Measured between the middles of the ticks."""
    dark = picture < 128
    px = dpi / 25.4
    best = None
    for y in range(dark.shape[0]):
        edges = np.flatnonzero(np.diff(np.concatenate(([0], dark[y].view(np.int8), [0]))))
        for start, end in zip(edges[::2], edges[1::2]):
            if (end - start) < least_mm * px or (best and end - start <= best[1]):
                continue
            best = (y, end - start, start, end)
    assert best, "no bar on the page"
    y, _, start, end = best
    reach = round(1.2 * px)

    def tick(x):
        # Columns near x that are dark above and below the line, where only the tick is.
        near = np.arange(max(0, x - reach), min(dark.shape[1], x + reach))
        upright = dark[y - reach, near] & dark[y + reach, near]
        assert upright.any(), "no tick at the end of the bar"
        return near[upright].mean()

    return (tick(end) - tick(start)) / px


def papers(demo, kind):
    found = sorted(demo.glob(f"*-{kind}.pdf"))
    assert found, f"the demo left no {kind}"
    return found


def test_fonts_are_embedded_and_text_can_be_extracted(demo):
    words = {
        "order": ["Order", "Plantarflexion", "revision"],
        "bench": ["Bench sheet", "Seen from behind, as the foot stands", "X reference used", "Outside", "Inside"],
        "label": ["Revision"],
        "packing": ["Packing list"],
    }
    for kind, wanted in words.items():
        for pdf in papers(demo, kind):
            side = "Left" if pdf.name.startswith("left") else "Right"
            text = " ".join(tool("pdftotext", "-layout", pdf, "-").split())
            for want in [*wanted, side]:
                assert want in text, f"{pdf.name}: {want}"
            fonts = tool("pdffonts", pdf).splitlines()[2:]
            assert fonts
            for font in fonts:
                embedded, _, to_unicode = font.split()[-5:-2]
                assert (embedded, to_unicode) == ("yes", "yes"), font
            assert re.search(r"^Tagged: +yes", tool("pdfinfo", pdf), re.M)


def test_page_sizes(demo, tmp_path):
    program = Program(tmp_path)
    for kind in ["order", "packing"]:
        for pdf in papers(demo, kind):
            assert np.abs(np.array(sizes_mm(pdf)) - A4_MM).max() < 0.05
    for size in ["62x100", "62x29", "100x150", "50x30"]:
        out = tmp_path / f"{size}.pdf"
        visit = json.loads((demo / "visits.json").read_text())
        visits = visit["visits"] if isinstance(visit, dict) else visit
        done = program.run("label", visits[0]["id"], "--visits", demo / "visits.json", "--size", size, "--out", out)
        assert done.returncode == 0, done.stderr
        want = [float(v) for v in size.split("x")]
        assert np.abs(np.array(sizes_mm(out)) - want).max() < 0.05
    for paper, size in [("a4", A4_MM), ("letter", LETTER_MM)]:
        out = tmp_path / f"{paper}.pdf"
        assert program.run("labels", "--sheet", paper, "-n", 40, "--out", out).returncode == 0
        assert np.abs(np.array(sizes_mm(out)) - size).max() < 0.05


def test_check_bar_of_the_bench_sheet(demo):
    """The bar of every page is 100 mm long to 0.1 mm, across and along."""
    for pdf in papers(demo, "bench"):
        for page in pages(pdf, 600):
            foot = page[-round(32 / 25.4 * 600) :]
            assert bar_mm(foot, 600, 95) == pytest.approx(100, abs=0.1)
        for page in pages(pdf, 600)[1:]:
            edge = page[:, -round(12 / 25.4 * 600) :]
            assert bar_mm(edge.T, 600, 95) == pytest.approx(100, abs=0.1)


@pytest.mark.parametrize("paper", ["a3", "a4", "letter", "two-a4"])
def test_mat(paper, tmp_path):
    """Bars and tags of the printed mat lie where its layout file says, to 0.1 mm."""
    pdf, layout = tmp_path / "mat.pdf", tmp_path / "mat.json"
    assert Program(tmp_path).run("mat", "--paper", paper, "--out", pdf, "--layout", layout).returncode == 0
    tags = {tag["id"]: np.array(tag["corners_mm"])[:, :2] for tag in json.loads(layout.read_text())["tags"]}
    dpi = 300
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), parameters
    )
    seen, left_mm = 0, 0.0
    for page, (width, height) in zip(pages(pdf, dpi), sizes_mm(pdf)):
        found, ids, _ = detector.detectMarkers(page)
        for corners, tag in zip(found, ids.ravel()):
            # OpenCV draws these tags turned by 180° and puts pixel centres at whole numbers.
            corners = (np.roll(corners.reshape(4, 2), 2, axis=0) + 0.5) / dpi * 25.4
            mat = np.column_stack([left_mm + corners[:, 0], height - corners[:, 1]])
            assert np.abs(mat - tags[tag]).max() < 0.1, tag
            seen += 1
        left_mm += width
    assert seen == len(tags)
    text = " ".join(tool("pdftotext", "-raw", pdf, "-").split())
    across = [float(v) for v in re.findall(r"check bar across: (\d+) mm", text)]
    along = [float(v) for v in re.findall(r"check bar along: (\d+) mm", text)]
    drawn = pages(pdf, 600)
    assert len(across) == len(along) == len(drawn)
    edge = round(5 / 25.4 * 600)  # where two sheets meet a line runs along the paper's edge
    for page, x_mm, y_mm in zip(drawn, across, along):
        page = page[edge:-edge, edge:-edge]
        assert bar_mm(page, 600, 60) == pytest.approx(x_mm, abs=0.1)
        assert bar_mm(page.T, 600, 60) == pytest.approx(y_mm, abs=0.1)


def test_label_is_read_by_others(demo, tmp_path):
    """zbar and zxing-cpp read the label's picture, and its PDF at both printers' dots."""
    for png in sorted(demo.glob("*-label.png")):
        text = tool("zbarimg", "-q", "--raw", png).split()
        assert len(text) == 1 and mod_37_2.is_valid(text[0])
        shown = " ".join(tool("pdftotext", png.with_suffix(".pdf"), "-").split()).replace("- ", "-")
        assert "-".join([text[0][0:4], text[0][4:8], text[0][8:12], text[0][12]]) in shown
        for dpi in [203.2, 300]:
            picture = pages(png.with_suffix(".pdf"), dpi)[0]
            path = tmp_path / "label.png"
            Image.fromarray(picture).save(path)
            assert tool("zbarimg", "-q", "--raw", path).split() == text
            (found,) = zxingcpp.read_barcodes(picture)
            assert found.text == text[0] and "H" in str(found.ec_level)
        ours = Program(tmp_path).json("code", "read", png)["codes"]
        assert [(c["text"], c["cast_code"]) for c in ours] == [(text[0], True)]


def test_sheet_is_read_by_others(tmp_path):
    program = Program(tmp_path)
    out = tmp_path / "sheet.pdf"
    assert program.run("labels", "--sheet", "a4", "-n", 24, "--out", out).returncode == 0
    picture = pages(out, 200)[0]
    theirs = {c.text for c in zxingcpp.read_barcodes(picture)}
    path = tmp_path / "sheet.png"
    Image.fromarray(picture).save(path)
    ours = {c["text"] for c in program.json("code", "read", path)["codes"]}
    assert len(ours) == 24 and ours >= theirs
    assert all(mod_37_2.is_valid(text) for text in ours)


def test_codes_carry_the_published_check(codes, tmp_path):
    """python-stdnum's ISO 7064 MOD 37,2 agrees on 200 new codes, and refuses what we refuse."""
    assert len(set(codes)) == 200
    program = Program(tmp_path)
    for code in codes:
        plain = code.replace("-", "")
        assert len(plain) == 13 and set(plain) <= set(SYMBOLS) and mod_37_2.is_valid(plain)
    plain = codes[0].replace("-", "")
    swaps = [(i, j) for i, j in itertools.combinations(range(13), 2) if plain[i] != plain[j]]
    for i, j in swaps[::6]:
        wrong = list(plain)
        wrong[i], wrong[j] = wrong[j], wrong[i]
        wrong = "".join(wrong)
        assert not mod_37_2.is_valid(wrong)
        done = program.run("code", "check", wrong)
        assert done.returncode == 1 and done.stdout == "" and "check" in done.stderr
    spelled = codes[0].lower().replace("0", "o").replace("1", "l").replace("-", " ")
    assert program.run("code", "check", spelled).stdout.strip() == codes[0]


def test_we_read_what_others_write(tmp_path):
    """Symbols written by zxing-cpp, of several sizes and texts, come back with their corners."""
    program = Program(tmp_path)
    for text in ["01234567", "HELLO WORLD", "https://example.org/?q=ä", "x" * 300]:
        drawn = np.asarray(zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode).to_image(scale=6))
        canvas = np.full((drawn.shape[0] + 120, drawn.shape[1] + 160), 255, np.uint8)
        canvas[40 : 40 + drawn.shape[0], 70 : 70 + drawn.shape[1]] = drawn
        path = tmp_path / "written.png"
        Image.fromarray(canvas).save(path)
        (ours,) = program.json("code", "read", path)["codes"]
        assert ours["text"] == text and not ours["cast_code"]
        (theirs,) = zxingcpp.read_barcodes(canvas)
        at = theirs.position
        corners = [(c.x, c.y) for c in (at.top_left, at.top_right, at.bottom_right, at.bottom_left)]
        assert np.abs(np.array(corners) - ours["corners_px"]).max() < 1.5


def test_we_read_the_worked_symbols_of_the_standard(tmp_path):
    """ISO/IEC 18004:2015, annex I.2 (01234567 as 1-M) and figure 1 (QR Code Symbol as 1-M), drawn by
    segno, whose own tests hold both against the standard's figures; and the much published 1-Q."""
    program = Program(tmp_path)
    for text, level, mask in [("01234567", "m", 2), ("QR Code Symbol", "m", None), ("HELLO WORLD", "q", None)]:
        symbol = segno.make_qr(text, error=level, mask=mask, version=1, boost_error=False)
        assert symbol.designator == f"1-{level.upper()}"
        path = tmp_path / "worked.png"
        symbol.save(path, scale=5, border=4)
        (read,) = program.json("code", "read", path)["codes"]
        assert read["text"] == text and not read["cast_code"]


def test_our_symbols_are_the_standards(tmp_path):
    """Every module of 24 of our symbols is that of segno's symbol for the same code."""
    path, program = tmp_path / "sheet.png", Program(tmp_path)
    assert program.run("labels", "--sheet", "a4", "-n", 24, "--out", path).returncode == 0
    sheet = np.asarray(Image.open(path).convert("L"))
    read = program.json("code", "read", path)["codes"]
    assert len(read) == 24
    for code in read:
        (left, top), (right, _), (_, bottom), _ = code["corners_px"]
        middle = (np.arange(25) + 0.5) / 25
        x, y = (left + middle * (right - left)).astype(int), (top + middle * (bottom - top)).astype(int)
        ours = sheet[np.ix_(y, x)] < 128
        same = [
            np.array_equal(ours, np.array(segno.make_qr(code["text"], error="h", mask=mask, version=2, boost_error=False).matrix) > 0)
            for mask in range(8)
        ]
        assert sum(same) == 1, code["text"]
