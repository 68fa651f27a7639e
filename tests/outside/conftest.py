"""The program under test and the data beside the project."""

import json
import os
import subprocess
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT.parent / "shared" / "data"


def data(name):
    folder = DATA / name
    if not folder.is_dir():
        pytest.skip("data not here")
    return folder


def program_path():
    named = os.environ.get("PLINTHSIDE")
    target = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    return Path(named) if named else target / "release" / "plinthside"


class Program:
    """The program's commands, run in a folder of their own."""

    def __init__(self, folder):
        self.folder = folder

    def run(self, *arguments):
        command = [str(program_path()), *map(str, arguments)]
        return subprocess.run(command, capture_output=True, text=True, timeout=300)

    def json(self, *arguments):
        done = self.run(*arguments, "--json")
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    def write(self, name, content):
        path = self.folder / name
        path.write_text(json.dumps(content))
        return path

    def mat(self, corners_mm, border_bits=1):
        """A mat file: {id: four corners}, its check bars measured exactly."""
        tags = [{"id": int(k), "corners_mm": np.asarray(v).tolist()} for k, v in corners_mm.items()]
        bars = {"across_mm": [100, 100, 0.001], "along_mm": [100, 100, 0.001]}
        content = {"name": "target", "family": "tag36h11", "tags": tags, "border_bits": border_bits, "printed": bars}
        return self.write("mat.json", content)

    def detect(self, photos, mat=None):
        return self.json("detect", *(["--mat", mat] if mat else []), *photos)

    def measure(self, mat, marks, photos, min_rays_deg=15):
        """Points by name; `marks` is a list of (mark, photo, (x, y), sd_px)."""
        views = [
            {"mark": m, "photo": p, "x": float(x), "y": float(y), "sd_px": s, "surface": "inside"}
            for m, p, (x, y), s in marks
        ]
        marks_file = self.write("marks.json", {"side": "left", "wall_mm": 5.0, "marks": views})
        tags = self.write("tags.json", photos)
        return self.json("measure", "--mat", mat, "--marks", marks_file, "--tags", tags, "--min-rays-deg", min_rays_deg)


@pytest.fixture
def program(tmp_path):
    assert program_path().is_file(), f"build the program first: {program_path()}"
    return Program(tmp_path)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demonstration's store and every paper of its visits, anew for each module."""
    folder = tmp_path_factory.mktemp("demo")
    assert program_path().is_file(), f"build the program first: {program_path()}"
    done = Program(folder).run("demo", "--headless", folder)
    assert done.returncode == 0, done.stderr
    return folder
