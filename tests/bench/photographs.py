"""Six photographs to the result, beside OpenCV, pupil-apriltags (two threads, quad_decimate 2) and
SciPy's least_squares on the same photographs in one run."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

from programs import ROOT, TARGET, row

PROGRAM = Path(os.environ.get("PLINTHSIDE", TARGET / "plinthside"))
DEMO = ROOT / "demo-data"


def run(command):
    """Output, wall time in ms and peak memory in MB of a command that must succeed."""
    start = time.perf_counter()
    process = subprocess.Popen([str(c) for c in command], stdout=subprocess.PIPE, text=True)
    output = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        sys.exit(f"failed: {' '.join(map(str, command))}")
    return output, 1000 * (time.perf_counter() - start), usage.ru_maxrss / 1024


def reduced_marks(names, path):
    """The demo's marks seen at least twice in these photographs."""
    marks = json.loads((DEMO / "left/marks.json").read_text())
    views = [m for m in marks["marks"] if m["photo"] in names]
    seen = [m["mark"] for m in views]
    marks["marks"] = [m for m in views if seen.count(m["mark"]) > 1]
    marks["outlines"] = []
    path.write_text(json.dumps(marks))
    return path


def rows():
    out = ROOT / "build-output"
    mat = DEMO / "mat.json"
    # Photograph 3 is held upright (EXIF 6); the reference does not turn photographs.
    chosen = [1, 2, 4, 5, 6, 7]
    names = [f"left-{i}.jpg" for i in chosen]
    photos = [DEMO / "left" / name for name in names]
    marks = reduced_marks(names, out / "bench-marks.json")
    measure = [PROGRAM, "measure", "--mat", mat, "--marks", marks, "--json", *photos]
    runs = [run(measure) for _ in range(5)]
    ours_ms, ours_mb = min(r[1] for r in runs), max(r[2] for r in runs)
    reference, _, reference_mb = run([sys.executable, Path(__file__).parent / "reference.py", mat, marks, *photos])
    reference = json.loads(reference)
    stages = json.loads(run([TARGET / "examples/stages", mat, marks, *photos])[0])
    library = "pupil-apriltags"

    def beside(what, unit, ours, figure, name, aim="<= 1 x"):
        return row(what, unit, ours, beside=figure, reference=name, aim=aim)

    yield beside("six 12-megapixel JPEGs, two cores", "ms", ours_ms, reference["all_ms"], f"OpenCV, {library}, SciPy", "<= 0.5 x")
    yield beside("  decoding, one core", "ms", stages["decode_ms"], reference["decode_ms"], "OpenCV")
    yield beside("  detection, one core", "ms", stages["detect_ms"], reference["library_one_thread_ms"], library, "<= 1.1 x")
    yield beside("  least squares", "ms", stages["solve_ms"], reference["solve_ms"], "SciPy")
    yield beside("  peak memory", "MB", ours_mb, reference_mb, "the three in Python", "<= 400")
