"""Our print queue against ippeveprinter, the IPP Everywhere printer of the CUPS project: what comes
out equals the page pixel for pixel, every halt is said, and nothing comes out twice."""

import os
import re
import shutil
import signal
import socket
import struct
import subprocess
import threading
import time
import urllib.request
from pathlib import Path

import numpy as np
import pytest

from conftest import ROOT, Program

EXAMPLE = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release/examples/printing"
PROGRAM = shutil.which("ippeveprinter") or "/usr/sbin/ippeveprinter"
if not (Path(PROGRAM).exists() and shutil.which("dbus-daemon")):
    pytest.skip("ippeveprinter or dbus-daemon is not here (tests/setup)", allow_module_level=True)

# A label printer; the names are those of RFC 8011 and PWG 5100.14.
LABELS = """
ATTR keyword media-supported iso_a4_210x297mm,om_label_62x100mm
ATTR keyword media-ready {ready}
ATTR keyword media-default {ready}
ATTR resolution pwg-raster-document-resolution-supported 203dpi,300dpi
ATTR keyword pwg-raster-document-type-supported sgray_8,black_1
ATTR keyword print-scaling-supported none,fit
ATTR mimeMediaType document-format-supported {formats}
"""


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Printer:
    """ippeveprinter on a bus of its own; its command appends every document that is printed. It is a
    label printer, or an office printer with what it says of itself unless it is told."""

    def __init__(self, folder, formats="application/pdf,image/pwg-raster", ready="om_label_62x100mm", command="sleep 0", office=False):
        self.folder, self.formats, self.ready, self.office, self.port = folder, formats, ready, office, free_port()
        self.out, self.process = folder / "out", None
        self.out.mkdir(parents=True)
        (folder / "spool").mkdir()
        (folder / "keys").mkdir()  # where it makes a certificate of its own
        script = folder / "command"
        script.write_text(f'#!/bin/sh\ncat "$1" >"{self.out}/$IPP_JOB_ID.$$"\necho "$IPP_COPIES" >>"{folder}/copies"\necho "$IPP_MEDIA $IPP_PRINT_SCALING" >>"{folder}/asked"\n{command}\n')
        script.chmod(0o755)
        address = f"unix:path={folder}/bus"
        bus = ["dbus-daemon", "--session", "--nofork", f"--address={address}"]
        self.bus = subprocess.Popen(bus, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        self.environment = os.environ | {"DBUS_SYSTEM_BUS_ADDRESS": address}
        while not (folder / "bus").exists():
            time.sleep(0.02)
        self.start()

    def start(self):
        conf = self.folder / "labels.conf"
        conf.write_text(LABELS.format(ready=self.ready, formats=self.formats))
        about = ["-f", self.formats] if self.office else ["-a", conf]
        self.process = subprocess.Popen(
            [PROGRAM, "-r", "off", "-n", "localhost", "-p", str(self.port), "-d", self.folder / "spool", "-K", self.folder / "keys", "-k",
             *about, "-c", self.folder / "command", "Labels"],
            env=self.environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.02)
        raise AssertionError("ippeveprinter does not answer")

    def load(self, size, sheets):
        """Puts paper into the office printer's tray, and none into the other, on its own web page."""
        form = f"size1={size}&type1=stationery&level1={sheets}&size3=&type3=stationery&level3=-2"
        urllib.request.urlopen(f"http://localhost:{self.port}/media?{form}").read()

    def stop(self):
        self.process.kill()
        self.process.wait()

    def close(self):
        self.stop()
        self.bus.kill()
        self.bus.wait()

    @property
    def address(self):
        return f"ipp://localhost:{self.port}/ipp/print"

    def printed(self):
        return [path.read_bytes() for path in sorted(self.out.iterdir())]


@pytest.fixture
def printer_of(tmp_path):
    made = []

    def make(**options):
        made.append(Printer(tmp_path / f"printer{len(made)}", **options))
        return made[-1]

    yield make
    for printer in made:
        printer.close()


def queue(folder, *words):
    """Runs one step of the queue; the jobs as (identifier, stage, words)."""
    run = subprocess.run([EXAMPLE, folder, *map(str, words)], capture_output=True, text=True, timeout=60)
    assert run.returncode == 0, run.stderr
    return [line.split("\t") for line in run.stdout.splitlines()]


def until(folder, *stages, seconds=20):
    end = time.monotonic() + seconds
    while (jobs := queue(folder, "step"))[0][1] not in stages:
        assert time.monotonic() < end and jobs[0][1] not in ("failed", "unsure"), jobs
        time.sleep(0.1)
    return jobs


def unpacked(data):
    """Pages of a PWG raster file as arrays, from the text of PWG 5102.4-2012, sections 4.3 and 4.4."""
    assert data[:4] == b"RaS2"
    at, pages = 4, []
    while at < len(data):
        header = data[at : at + 1796]
        assert header[:9] == b"PwgRaster"
        width, height = struct.unpack(">2I", header[372:380])
        bits, line_bytes = struct.unpack(">2I", header[388:396])
        assert (bits, line_bytes) == (8, width)
        at += 1796
        rows = []
        while len(rows) < height:
            repeats, row = data[at] + 1, bytearray()
            at += 1
            while len(row) < line_bytes:
                n = data[at]
                if n < 128:
                    row += data[at + 1 : at + 2] * (n + 1)
                    at += 2
                else:
                    row += data[at + 1 : at + 1 + 257 - n]
                    at += 1 + 257 - n
            rows += [bytes(row)] * repeats
        pixels = np.frombuffer(b"".join(rows), np.uint8).reshape(height, width)
        pages.append((struct.unpack(">2I", header[276:284]), pixels))
    return pages


@pytest.fixture
def label_png(tmp_path):
    """A page with a fine pattern and every grey."""
    import cv2

    random = np.random.default_rng(6)
    page = np.full((799, 496), 255, np.uint8)
    page[40:360, 40:440] = np.kron(random.integers(0, 2, (40, 50)) * 255, np.ones((8, 8))).astype(np.uint8)
    page[400:600, 20:480] = np.linspace(0, 255, 460).astype(np.uint8)
    page[640:700] = random.integers(0, 256, (60, 496), np.uint8)
    path = tmp_path / "label.png"
    cv2.imwrite(str(path), page)
    return path, page


def test_raster_equals_the_page_pixel_for_pixel(printer_of, label_png, tmp_path):
    path, page = label_png
    printer, folder = printer_of(formats="image/pwg-raster"), tmp_path / "queue"
    queue(folder, "add", printer.address, 62, 100, 1, 203.2, path, path)
    assert until(folder, "done")[0][2] == "printed"
    (document,) = printer.printed()
    pages = unpacked(document)
    assert len(pages) == 2
    for dpi, pixels in pages:
        assert dpi == (203, 203)
        assert np.array_equal(pixels, page)
    assert sorted(p.suffix for p in folder.iterdir()) == ["", ".job"], "the papers are gone"
    assert (printer.folder / "asked").read_text().split() == ["om_label_62x100mm", "none"], "its paper, at true scale"


def test_pdf_arrives_byte_for_byte(printer_of, tmp_path):
    printer, folder, pdf = printer_of(), tmp_path / "queue", tmp_path / "label.pdf"
    pdf.write_bytes(b"%PDF-1.7\n" + np.random.default_rng(1).bytes(200_000))
    queue(folder, "add", printer.address.removesuffix("/ipp/print") + "/ipp/print", 62, 100, 1, 203, pdf)
    until(folder, "done")
    assert printer.printed() == [pdf.read_bytes()]


def test_wrong_media_and_resolution(printer_of, label_png, tmp_path):
    path, _ = label_png
    printer = printer_of(formats="image/pwg-raster", ready="iso_a4_210x297mm")
    queue(tmp_path / "a", "add", printer.address, 62, 100, 1, 203.2, path)
    waits = queue(tmp_path / "a", "step")[0]
    assert waits[1] == "queued" and "load 62 × 100 mm; the printer holds 210 × 297 mm" in waits[2]
    queue(tmp_path / "b", "add", printer.address, 50, 30, 1, 203.2, path)
    refused = queue(tmp_path / "b", "step")[0]
    assert refused[1] == "failed" and "does not take 50 × 30 mm" in refused[2]
    queue(tmp_path / "c", "add", printer.address, 210, 297, 1, 97, path)
    refused = queue(tmp_path / "c", "step")[0]
    assert refused[1] == "failed" and "203, 300" in refused[2]
    assert printer.printed() == []


def test_paper_is_waited_for(printer_of, tmp_path):
    """An office printer with other paper, then with an empty tray, then with paper."""
    printer, folder, pdf = printer_of(formats="application/pdf", office=True), tmp_path / "queue", tmp_path / "order.pdf"
    pdf.write_bytes(b"%PDF-1.7\n")
    queue(folder, "add", printer.address, 210, 297, 1, 300, pdf)
    wrong = queue(folder, "step")[0]
    assert wrong[1] == "queued" and "load 210 × 297 mm; the printer holds 215.9 × 279.4 mm" in wrong[2], wrong
    printer.load("iso_a4_210x297mm", 0)
    empty = queue(folder, "step")[0]
    assert "out of paper or labels: load more" in empty[2] and printer.printed() == [], empty
    printer.load("iso_a4_210x297mm", 50)
    until(folder, "done")
    assert printer.printed() == [pdf.read_bytes()]


def test_an_address_where_nothing_prints(printer_of, label_png, tmp_path):
    printer, folder = printer_of(), tmp_path / "queue"
    queue(folder, "add", printer.address.replace("/ipp/print", "/elsewhere"), 62, 100, 1, 203.2, label_png[0])
    refused = queue(folder, "step")[0]
    assert refused[1] == "failed" and "nothing prints at this address" in refused[2], refused


def test_network_gone_and_back(printer_of, label_png, tmp_path):
    printer, folder = printer_of(), tmp_path / "queue"
    printer.stop()
    queue(folder, "add", printer.address, 62, 100, 1, 203.2, label_png[0])
    gone = queue(folder, "step")[0]
    assert gone[1] == "queued" and "does not answer" in gone[2]
    printer.start()
    until(folder, "done")
    assert len(printer.printed()) == 1


def test_power_cut_at_any_instant_prints_once(printer_of, label_png, tmp_path):
    printer, page = printer_of(formats="image/pwg-raster"), label_png[0]
    queue(tmp_path / "whole", "add", printer.address, 62, 100, 1, 203.2, page)
    start = time.monotonic()
    queue(tmp_path / "whole", "step")
    whole = time.monotonic() - start
    until(tmp_path / "whole", "done")
    for attempt, wait in enumerate(np.linspace(0.0, 1.1 * whole, 13), 1):
        folder = tmp_path / f"queue{attempt}"
        queue(folder, "add", printer.address, 62, 100, 1, 203.2, page)
        step = subprocess.Popen([EXAMPLE, folder, "step"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(wait)
        step.send_signal(signal.SIGKILL)
        step.wait()
        # Cut off within the document, this printer does not say what it got: a person looks.
        ((_, stage, words),) = until(folder, "done", "unsure")
        assert stage == "done" or "got all of it" in words, (wait, words)
        assert len(printer.printed()) == attempt + 1, wait


def test_cancel_while_it_prints(printer_of, label_png, tmp_path):
    printer, folder = printer_of(command="sleep 20"), tmp_path / "queue"
    job = queue(folder, "add", printer.address, 62, 100, 1, 203.2, label_png[0])[0][0]
    sent = queue(folder, "step")[0]
    assert sent[1] == "sent" and "the printer has it" in sent[2]
    queue(folder, "cancel", job)
    until(folder, "cancelled")


@pytest.mark.parametrize(("reason", "words"), [("media-empty", "out of paper or labels"), ("media-jam", "jammed"), ("moving-to-paused", "paused: resume it")])
def test_paper_out_stopped_and_paused(printer_of, label_png, tmp_path, reason, words):
    printer, folder = printer_of(command=f'echo "STATE: +{reason}" >&2; sleep 1; echo "STATE: -{reason}" >&2'), tmp_path / "queue"
    queue(folder, "add", printer.address, 62, 100, 1, 203.2, label_png[0])
    heard, end = "", time.monotonic() + 15
    while (job := queue(folder, "step")[0])[1] != "done" and time.monotonic() < end:
        heard += job[2] + "\n"
        time.sleep(0.1)
    assert job[1] == "done" and words in heard, (job, heard)
    assert len(printer.printed()) == 1


def test_a_printer_switched_off_while_it_prints(printer_of, label_png, tmp_path):
    """It forgets its jobs and counts anew: a person is asked, whatever else has its number by then."""
    path, _ = label_png
    printer, folder = printer_of(command="sleep 3"), tmp_path / "queue"
    job = queue(folder, "add", printer.address, 62, 100, 1, 203.2, path)[0][0]
    assert queue(folder, "step")[0][1] == "sent"
    while not printer.printed():
        time.sleep(0.02)
    printer.stop()
    gone = queue(folder, "step")[0]
    assert gone[1] == "sent" and "does not answer" in gone[2], gone
    printer.start()
    other = tmp_path / "other"
    queue(other, "add", printer.address, 62, 100, 1, 203.2, path)
    assert queue(other, "step")[0][1] == "sent"
    for _ in range(3):
        asked = queue(folder, "step")[0]
        assert asked[1] == "unsure" and "print it again or call it done" in asked[2], asked
    until(other, "done")
    assert len(printer.printed()) == 2, "each once"
    queue(folder, "again", job)
    until(folder, "done")
    assert len(printer.printed()) == 3, "as a person said"


def test_copies(printer_of, label_png, tmp_path):
    printer, folder = printer_of(formats="image/pwg-raster"), tmp_path / "queue"
    queue(folder, "add", printer.address, 62, 100, 3, 203.2, label_png[0])
    until(folder, "done")
    assert len(printer.printed()) == 1, "one document, which the printer prints three times"
    assert (printer.folder / "copies").read_text().split() == ["3"]


def test_jpeg_for_a_printer_that_takes_nothing_else(printer_of, label_png, tmp_path):
    import cv2

    path, page = label_png
    printer, folder = printer_of(formats="image/jpeg"), tmp_path / "queue"
    queue(folder, "add", printer.address, 62, 100, 1, 203.2, path)
    until(folder, "done")
    (document,) = printer.printed()
    assert document[:2] == b"\xff\xd8" and document[6:11] == b"JFIF\0"
    assert document[13:18] == bytes([1, 0, 203, 0, 203]), "203 dots an inch both ways"
    pixels = cv2.imdecode(np.frombuffer(document, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert pixels.shape == page.shape
    off = np.abs(pixels.astype(int) - page)
    assert off[40:360].mean() < 2 and ((pixels < 128) == (page < 128))[40:360].all(), "every module of the code as drawn"
    pages = [path, path]
    queue(tmp_path / "two", "add", printer.address, 62, 100, 1, 203.2, *pages)
    refused = queue(tmp_path / "two", "step")[0]
    assert refused[1] == "failed", "a JPEG is one page"


def test_tls_only_for_a_printer_that_is_trusted(printer_of, label_png, tmp_path):
    printer, folder = printer_of(formats="image/pwg-raster"), tmp_path / "queue"
    address = printer.address.replace("ipp://", "ipps://")
    job = queue(folder, "add", address, 62, 100, 1, 203.2, label_png[0])[0][0]
    waits = queue(folder, "step")[0]
    assert waits[1] == "queued" and "certificate" in waits[2].lower(), waits
    assert printer.printed() == []
    queue(folder, "trust", job)
    until(folder, "done")
    ((_, pixels),) = unpacked(printer.printed()[0])
    assert np.array_equal(pixels, label_png[1])


class Wire:
    """A line to the printer that tells when the answer to an operation is on its way back, before
    it is passed on; where `cut` says so it is not passed on at all. After `lost_bytes` of the first
    document the line breaks."""

    def __init__(self, port, cut=lambda operation: False, lost_bytes=None):
        self.port, self.cut, self.lost_bytes = port, cut, lost_bytes
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"ipp://localhost:{self.listener.getsockname()[1]}/ipp/print"
        threading.Thread(target=self.accept, daemon=True).start()

    def accept(self):
        while True:
            client, _ = self.listener.accept()
            printer = socket.create_connection(("127.0.0.1", self.port))
            asked = bytearray()
            threading.Thread(target=self.up, args=(client, printer, asked), daemon=True).start()
            threading.Thread(target=self.down, args=(printer, client, asked), daemon=True).start()

    def up(self, client, printer, asked):
        try:
            while data := client.recv(65536):
                asked += data
                if self.lost_bytes and b"\r\n\x02\x00\x00\x06" in asked and len(asked) > self.lost_bytes:
                    self.lost_bytes = None
                    client.shutdown(socket.SHUT_RDWR)
                    printer.shutdown(socket.SHUT_RDWR)
                    return
                printer.sendall(data)
        except OSError:
            pass

    def down(self, printer, client, asked):
        try:
            while data := printer.recv(65536):
                # The last request on this connection: IPP 2.0 and the operation (RFC 8010, 3.1.1).
                operations = re.findall(rb"\r\n\x02\x00(\x00.)", bytes(asked), re.S)
                final = not data.startswith(b"HTTP/1.1 100")
                if operations and final and self.cut(int.from_bytes(operations[-1], "big")):
                    break
                client.sendall(data)
        except OSError:
            pass
        client.close()
        printer.close()


@pytest.mark.parametrize(("operation", "stage"), [(5, "claimed"), (6, "created")], ids=["job made", "document sent"])
def test_power_cut_between_the_printers_answer_and_its_record(printer_of, label_png, tmp_path, operation, stage):
    """The printer has done it and nobody here has written that down: the program is killed then."""
    printer, folder = printer_of(formats="image/pwg-raster"), tmp_path / "queue"
    killed = threading.Event()

    def cut(answered):
        if answered != operation or killed.is_set():
            return False
        step.send_signal(signal.SIGKILL)
        killed.set()
        return True

    wire = Wire(printer.port, cut)
    queue(folder, "add", wire.address, 62, 100, 1, 203.2, label_png[0])
    step = subprocess.Popen([EXAMPLE, folder, "step"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    step.wait(timeout=20)
    assert killed.is_set() and step.returncode == -signal.SIGKILL
    (record,) = folder.glob("*.job")
    assert f'"at":"{stage}"' in record.read_text()
    until(folder, "unsure" if operation == 6 else "done")
    assert len(printer.printed()) == 1


def test_line_cut_in_the_middle_of_a_document(printer_of, tmp_path):
    """The printer prints the half it has and calls that done: a person is asked, then it comes out
    whole."""
    printer, folder, pdf = printer_of(), tmp_path / "queue", tmp_path / "label.pdf"
    pdf.write_bytes(b"%PDF-1.7\n" + np.random.default_rng(2).bytes(400_000))
    wire = Wire(printer.port, lost_bytes=150_000)
    job = queue(folder, "add", wire.address, 62, 100, 1, 203.2, pdf)[0][0]
    cut = queue(folder, "step")[0]
    assert cut[1] == "created" and "does not answer" in cut[2], cut
    assert wire.lost_bytes is None
    for _ in range(3):
        ((_, stage, words),) = until(folder, "unsure")
        assert "got all of it" in words and "print it again or call it done" in words, words
    assert all(len(half) < 200_000 for half in printer.printed())
    queue(folder, "again", job)
    until(folder, "done")
    assert printer.printed()[-1] == pdf.read_bytes() and len(printer.printed()) <= 2


def run(demo, *words):
    store = ["--store", demo / "demo.store", "--passphrase-file", demo / "passphrase.txt"]
    done = Program(demo).run(*words, *store)
    assert done.returncode == 0, done.stderr
    return done


def test_the_program_prints_its_label_pixel_for_pixel(printer_of, demo, tmp_path):
    """From the store to paper: the printer's raster is the page as the program draws it."""
    import cv2

    printer, picture = printer_of(formats="image/pwg-raster"), tmp_path / "label.png"
    run(demo, "label", "demo-left", "--dpi", 300, "--out", picture, "--to", printer.address, "--by", "Ada")
    ((dpi, pixels),) = unpacked(printer.printed()[0])
    assert dpi == (300, 300)
    page = cv2.imread(str(picture), cv2.IMREAD_UNCHANGED)
    assert page.ndim == 2, "a label is black and white"
    assert np.array_equal(pixels, page)
    jobs = run(demo, "print", "jobs").stdout
    assert "Label, left" in jobs and "printed" in jobs


def test_the_program_sends_the_pdf_it_writes(printer_of, demo, tmp_path):
    printer, pdf = printer_of(formats="application/pdf"), tmp_path / "label.pdf"
    run(demo, "label", "demo-left", "--out", pdf, "--to", printer.address, "--copies", 2)
    assert printer.printed() == [pdf.read_bytes()]
    assert (printer.folder / "copies").read_text().split() == ["2"]


def test_a_mat_lies_across_and_is_turned(printer_of, demo, tmp_path):
    """A4 across on a printer that names A4 upright: turned whole, pixel for pixel."""
    import cv2

    printer, picture = printer_of(formats="image/pwg-raster", ready="iso_a4_210x297mm"), tmp_path / "mat.png"
    run(demo, "mat", "--paper", "a4", "--out", picture, "--to", printer.address)
    ((dpi, pixels),) = unpacked(printer.printed()[0])
    page = cv2.imread(str(picture)).astype(int)
    assert dpi == (300, 300) and page.shape[1] > page.shape[0]
    blue, green, red = np.moveaxis(np.rot90(page), 2, 0)
    grey = (red == green) & (green == blue)
    assert grey.mean() > 0.9 and np.array_equal(pixels[grey], red[grey])
    # The rest is in colour: its luminance, however it is rounded.
    assert np.abs(pixels - (0.2126 * red + 0.7152 * green + 0.0722 * blue)).max() < 3


def test_the_program_prints_a_pdf_on_a_printer_of_pictures(printer_of, demo, tmp_path):
    """A page drawn here for a printer that takes no PDF lies where poppler draws it."""
    printer = printer_of(formats="image/pwg-raster", ready="iso_a4_210x297mm")
    pdf = demo / "left-order.pdf"
    asked = run(demo, "print", "ask", printer.address).stdout
    assert "image/pwg-raster" in asked and "210 × 297 mm" in asked
    run(demo, "print", "add", "Office", printer.address)
    run(demo, "print", pdf, "--to", "office")
    pages = unpacked(printer.printed()[0])
    subprocess.run(["pdftoppm", "-r", "300", "-gray", "-f", "1", "-l", "1", pdf, tmp_path / "page"], check=True)
    import cv2

    (theirs,) = (cv2.imread(str(p), cv2.IMREAD_GRAYSCALE) for p in tmp_path.glob("page*.pgm"))
    ours = pages[0][1]
    assert pages[0][0] == (300, 300) and np.abs(np.subtract(ours.shape, theirs.shape)).max() <= 1
    height, width = np.minimum(ours.shape, theirs.shape)
    ours, theirs = ours[:height, :width].astype(float), theirs[:height, :width].astype(float)
    assert np.abs(ours - theirs).mean() < 3
    (dx, dy), _ = cv2.phaseCorrelate(ours, theirs)
    assert max(abs(dx), abs(dy)) < 1, "within a dot: no shift and no scaling"


def test_the_programs_jobs_wait_and_survive(printer_of, demo):
    """A printer that is gone and known by its name alone: the job is kept, is there in the next run,
    finds the printer and prints once."""
    printer = printer_of(formats="image/pwg-raster")
    printer.stop()
    program, store = Program(demo), ["--store", demo / "demo.store", "--passphrase-file", demo / "passphrase.txt"]
    kept = program.run("label", "demo-right", "--to", f"localhost:{printer.port}", *store)
    assert kept.returncode == 1 and "does not answer" in kept.stderr and "is kept" in kept.stderr
    printer.start()
    run(demo, "print", "resume")
    run(demo, "print", "resume")
    assert len(printer.printed()) == 1
