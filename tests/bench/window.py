"""The window beside an empty one, on a screen in memory; the list of many visits; and the result
after a tap."""

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time

from programs import TARGET, row

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


def rows(visits):
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
            figures("make", store, str(visits))
            # Turn and turn about, so that both see the same machine.
            both = [(first_picture_ms(SPEED, "first", store), first_picture_ms(EMPTY)) for _ in range(9)]
            ours, empty = (statistics.median(times) for times in zip(*both))
            empty_window = "an empty window of the same library"
            yield row("start to the first picture", "ms", ours, beside=empty, reference=empty_window, aim="<= 2 x")
            many = figures("list", store)
    finally:
        xvfb.terminate()
        xvfb.wait()
    for name, key in [("scrolling", "scroll_frame_ms"), ("searching, a key at a time", "search_frame_ms")]:
        frame = many[key]
        yield row(f"{visits} visits: {name}, frame p99", "ms", frame["p99"], aim="<= 50")
        yield row(f"  slowest of {frame['of']}", "ms", frame["slowest"], aim="<= 50")
    yield row("peak memory with it", "MB", many["peak_mb"], aim="<= 300")
    tap = figures("mark")["result_after_tap_ms"]
    yield row("six photographs: a moved mark to the new result, median", "ms", tap["median"], aim="<= 100")
    yield row(f"  slowest of {tap['of']}", "ms", tap["slowest"])
