"""Speed and memory beside the reference libraries, in one run on the same photographs: a table."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"
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


def main():
    out = ROOT / "build-output"
    out.mkdir(exist_ok=True)
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
    eight = [DEMO / "left" / f"left-{i}.jpg" for i in range(1, 9)]
    whole = json.loads(run([TARGET / "examples/stages", mat, DEMO / "left/marks.json", *eight])[0])
    rows = [
        ("six 12-megapixel JPEGs to the result, two cores, ms", ours_ms, reference["all_ms"]),
        ("  decoding, one core, ms", stages["decode_ms"], reference["decode_ms"]),
        ("  detection, one core, ms", stages["detect_ms"], reference["library_one_thread_ms"]),
        ("  least squares, ms", stages["solve_ms"], reference["solve_ms"]),
        ("peak memory, MB", ours_mb, reference_mb),
    ]
    print("reference: OpenCV, pupil-apriltags (two threads, quad_decimate 2), SciPy least_squares")
    print(f"{'':54}{'ours':>9}{'reference':>11}{'ratio':>8}")
    for name, ours, theirs in rows:
        print(f"{name:54}{ours:9.0f}{theirs:11.0f}{ours / theirs:8.2f}")
    print(f"solve alone, eight photographs, {whole['points'].get('Ok')} marks, ms {whole['solve_ms']:30.1f}")


main()
