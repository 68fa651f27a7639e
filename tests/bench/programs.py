"""Where the tree and its built programs lie."""

import os
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"


def row(what, unit, ours, **more):
    """A row of the table; see table.py."""
    return {"what": what, "unit": unit, "ours": ours, **more}
