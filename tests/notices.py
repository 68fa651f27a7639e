#!/usr/bin/env python3
"""Writes THIRD-PARTY.md: every crate that ends up in the program, with its licence.

    tests/notices.py           write the file
    tests/notices.py --check   exit 1 if the file is out of date
"""

import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
TARGET = ROOT / "THIRD-PARTY.md"

HEAD = """# Third-party notices

Plinthside itself is licensed MIT OR Apache-2.0. It is built from the work of others:

* **Slint** (screens) is used under the Slint Royalty-free Licence 2.0; the About view carries
  Slint's attribution.
* **AprilTag 3** (C library inside the crate `apriltag-sys`): BSD-2-Clause, © 2013-2016 The Regents
  of The University of Michigan.
* **SQLCipher** (inside `libsqlite3-sys`): BSD-3-Clause, © 2008-2025 Zetetic LLC. **SQLite**: public
  domain. **OpenSSL** (inside `openssl-src`): Apache-2.0.
* **Atkinson Hyperlegible Next and Mono** (`ui/fonts/`): SIL Open Font Licence 1.1, © The Atkinson
  Hyperlegible Project Authors.

## Crates in the program

| crate | version | licence |
|---|---|---|
"""


def rows() -> str:
    tree = subprocess.run(
        ["cargo", "tree", "--locked", "-e", "normal", "--prefix", "none", "-f", "{p}\t{l}"],
        cwd=ROOT, check=True, capture_output=True, text=True,
    ).stdout
    crates = set()
    for line in tree.splitlines():
        package, _, licence = line.replace(" (*)", "").partition("\t")
        name, version, *_ = package.split()
        if not name.startswith("plinthside"):
            crates.add((name, version.lstrip("v"), licence.strip() or "see the crate"))
    return "".join(f"| {name} | {version} | {licence} |\n" for name, version, licence in sorted(crates))


def main() -> int:
    text = HEAD + rows()
    if "--check" in sys.argv[1:]:
        if TARGET.exists() and TARGET.read_text() == text:
            return 0
        print("THIRD-PARTY.md is out of date: run tests/notices.py", file=sys.stderr)
        return 1
    TARGET.write_text(text)
    return 0


if __name__ == "__main__":
    sys.exit(main())
