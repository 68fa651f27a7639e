"""The program's real window on a screen of its own, used by pointer and keys as a person would.

`driven` (app/examples/driven.rs) is the program with a list of what is on its screen; here a control
is found in that list by its name, and then touched with xdotool at the place where it stands.
"""

import json
import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"
PASSPHRASE = "correct horse battery"
CONTROLS = {"Button", "Tab", "RadioButton", "Checkbox", "TextInput", "Spinbox"}


class Screen:
    """An X screen in memory."""

    def __init__(self, width, height):
        read, write = os.pipe()
        command = ["Xvfb", "-displayfd", str(write), "-screen", "0", f"{width}x{height}x24", "-nolisten", "tcp"]
        self.process = subprocess.Popen(command, pass_fds=[write], stderr=subprocess.DEVNULL)
        os.close(write)
        self.width, self.height = width, height
        with os.fdopen(read) as told:
            self.display = ":" + told.readline().strip()

    def close(self):
        self.process.terminate()
        self.process.wait()


class Hand:
    """The program on a screen, and a hand that touches it."""

    def __init__(self, screen, folder, pictures=None):
        self.screen, self.folder, self.pictures = screen, Path(folder), pictures
        self.list = self.folder / "screen.json"
        self.touches = 0
        self.environment = dict(os.environ, DISPLAY=screen.display, SLINT_BACKEND="winit-software", LC_ALL="C.UTF-8")
        self.environment.setdefault("XDG_RUNTIME_DIR", str(self.folder))
        self.environment.pop("WAYLAND_DISPLAY", None)
        self.process = None

    def open(self, *package):
        self.list.unlink(missing_ok=True)
        names = ["clinic.store", "pictures", "papers"]
        arguments = [str(self.folder / name) for name in names] + [str(self.list), *map(str, package)]
        (self.folder / "pictures").mkdir(exist_ok=True)
        self.process = subprocess.Popen([TARGET / "examples/driven", *arguments], env=self.environment)
        self.until(lambda all: all, "a first screen")
        self.xdotool("search", "--sync", "--name", "Plinthside", "windowmove", "0", "0",
                     "windowsize", str(self.screen.width), str(self.screen.height), "windowfocus")
        time.sleep(0.5)

    def kill(self):
        """The power goes."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def close(self):
        if self.process and self.process.poll() is None:
            self.process.terminate()
            self.process.wait()

    def xdotool(self, *arguments):
        subprocess.run(["xdotool", *arguments], env=self.environment, check=True, stdout=subprocess.DEVNULL)

    def listed(self):
        try:
            return json.loads(self.list.read_text())
        except FileNotFoundError:
            return {"turn": 0, "elements": []}

    def elements(self):
        return self.listed()["elements"]

    def until(self, holds, what, seconds=60):
        start = time.monotonic()
        while True:
            found = holds(self.elements())
            if found:
                return found
            assert self.process.poll() is None, f"the program ended while waiting for {what}"
            if time.monotonic() - start > seconds:
                self.picture("waited-in-vain")
                names = sorted({e["name"] for e in self.elements() if e["role"] in CONTROLS})
                raise AssertionError(f"waited in vain for {what}; there are {names}")
            time.sleep(0.03)

    def find(self, name, elements=None, enabled=True):
        for e in elements if elements is not None else self.elements():
            if e["name"] == name and e["role"] in CONTROLS and (e["enabled"] or not enabled) and self.seen(e):
                return e

    def seen(self, e):
        x, y = e["x"] + e["width"] / 2, e["y"] + e["height"] / 2
        return 0 <= x < self.screen.width and 0 <= y < self.screen.height

    def settled(self):
        """What was touched has been answered: over a few of the program's own turns, however long
        they take on a busy machine, the list stays as it is."""
        before, limit = self.listed(), time.monotonic() + 60
        while (now := self.listed())["turn"] < before["turn"] + 3:
            if now["elements"] != before["elements"]:
                before = now
            if self.process.poll() is not None or time.monotonic() > limit:
                return
            time.sleep(0.03)

    def touch_at(self, x, y, times=1):
        click = ["click", "--repeat", str(times), "--delay", "25", "1"]
        self.xdotool("mousemove", str(round(x)), str(round(y)), *click)
        self.touches += times

    def touch(self, name, *instead, seconds=60, times=1):
        """Touches the control of that name, or where there is none, one of the others."""
        names = (name, *instead)
        found = lambda all: next(filter(None, (self.find(n, all) for n in names)), None)
        e = self.until(found, " or ".join(f"“{n}”" for n in names), seconds)
        self.touch_at(e["x"] + e["width"] / 2, e["y"] + e["height"] / 2, times)
        self.settled()

    def has(self, name):
        return self.find(name, enabled=False) is not None

    def type(self, name, text):
        self.touch(name)
        self.xdotool("type", "--delay", "2", text)
        self.settled()

    def key(self, *keys):
        self.xdotool("key", *keys)
        self.settled()

    def picture(self, name):
        if self.pictures:
            self.pictures.mkdir(parents=True, exist_ok=True)
            path = self.pictures / f"{name}.png"
            subprocess.run(["import", "-window", "root", str(path)], env=self.environment, check=True)

    def photograph(self, elements):
        shown = (e for e in elements if e["role"] == "Image" and e["name"].startswith("Photograph "))
        return next(shown, None)

    def tap_photo(self, px, size):
        """Touches a place of the photograph on the marking screen, given in its pixels."""
        pane = self.photograph(self.elements())
        scale = min(pane["width"] / size[0], pane["height"] / size[1])
        left = pane["x"] + (pane["width"] - size[0] * scale) / 2
        top = pane["y"] + (pane["height"] - size[1] * scale) / 2
        self.touch_at(left + px[0] * scale, top + px[1] * scale)
        self.settled()


def first_start(hand):
    hand.until(lambda all: hand.find("Make the store", all), "the first start")
    for name, text in [("New passphrase, at least 8 characters", PASSPHRASE),
                       ("The same passphrase once more", PASSPHRASE),
                       ("Name of the clinic, as papers print it", "Tidewater Clinic"),
                       ("Its telephone, for lab and patient", "01632 960 330"),
                       ("Your name, as you sign", "Ines Calloway")]:
        hand.type(name, text)
    hand.picture("01-first-start")
    hand.touch("Make the store")
    hand.until(lambda all: hand.find("New visit", all), "the list of visits")


def unlock(hand):
    hand.type("Passphrase", PASSPHRASE)
    hand.touch("Open")


def photographs(folder, names):
    """The camera's pictures arrive."""
    for name in names:
        shutil.copyfile(ROOT / "demo-data/left" / name, Path(folder) / "pictures" / name)
