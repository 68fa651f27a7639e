"""The window beside an empty one, the list of many visits, and the result after a tap: a table.

    window.py [VISITS]      100 000 where not given; needs Xvfb
"""

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"
SPEED = TARGET / "examples/window_speed"
EMPTY = TARGET / "examples/empty"


def first_picture_ms(*command):
    """From the start of the process until it says that its first picture is drawn."""
    start = time.perf_counter()
    process = subprocess.Popen([str(part) for part in command], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    said = process.stdout.readline()
    taken = 1000 * (time.perf_counter() - start)
    process.wait()
    if said.strip() != "drawn":
        sys.exit(f"no picture: {command}")
    return taken


def figures(*arguments):
    done = subprocess.run([str(SPEED), *arguments], capture_output=True, text=True)
    if done.returncode:
        sys.exit(done.stderr)
    return json.loads(done.stdout) if done.stdout else None


def row(name, ours, reference=None):
    beside = f"{reference:11.0f}{ours / reference:8.2f}" if reference else ""
    print(f"{name:60}{ours:9.0f}{beside}")


def main():
    visits = sys.argv[1] if len(sys.argv) > 1 else "100000"
    os.environ["SLINT_BACKEND"] = "winit-software"
    os.environ["XDG_RUNTIME_DIR"] = os.environ.get("XDG_RUNTIME_DIR", "/tmp")
    os.environ.pop("WAYLAND_DISPLAY", None)
    read, write = os.pipe()
    screen = ["Xvfb", "-displayfd", str(write), "-screen", "0", "1280x800x24", "-nolisten", "tcp"]
    xvfb = subprocess.Popen(screen, pass_fds=[write], stderr=subprocess.DEVNULL)
    os.close(write)
    with os.fdopen(read) as told:
        os.environ["DISPLAY"] = ":" + told.readline().strip()
    try:
        with tempfile.TemporaryDirectory() as folder:
            store = f"{folder}/clinic.store"
            figures("make", store, visits)
            # Turn and turn about, so that both see the same machine.
            both = [(first_picture_ms(SPEED, "first", store), first_picture_ms(EMPTY)) for _ in range(9)]
            ours, empty = (statistics.median(times) for times in zip(*both))
            print("reference: an empty window of the same library and features, in the same run")
            print(f"{'':60}{'ours':>9}{'reference':>11}{'ratio':>8}")
            row("from start to the first picture, ms (aim 2 x)", ours, empty)
            many = figures("list", store)
    finally:
        xvfb.terminate()
        xvfb.wait()
    for name, key in [("scrolling", "scroll_frame_ms"), ("searching, a key at a time", "search_frame_ms")]:
        row(f"{visits} visits: {name}, frame p99, ms (aim 50)", many[key]["p99"])
        row(f"  slowest of {many[key]['of']}, ms", many[key]["slowest"])
    row("peak memory with it, MB (aim 300)", many["peak_mb"])
    tap = figures("mark")["result_after_tap_ms"]
    row("six photographs: a moved mark to the new result, median, ms (aim 100)", tap["median"])
    row(f"  slowest of {tap['of']}, ms", tap["slowest"])


main()
