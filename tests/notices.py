#!/usr/bin/env python3
"""Writes THIRD-PARTY.md: every crate that ends up in the program, with its licence.

    tests/notices.py               write the file
    tests/notices.py --check       exit 1 if the file is out of date
    tests/notices.py --texts FILE  write the text of every licence, for those who pass the program on
"""

import json
import pathlib
import re
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


def cargo(*arguments: str) -> str:
    return subprocess.run(["cargo", *arguments], cwd=ROOT, check=True, capture_output=True, text=True).stdout


def crates() -> list[tuple[str, str, str]]:
    """Name, version and licence of every crate in the program."""
    found = set()
    for line in cargo("tree", "--locked", "-e", "normal", "--prefix", "none", "-f", "{p}\t{l}").splitlines():
        package, _, licence = line.replace(" (*)", "").partition("\t")
        name, version, *_ = package.split()
        if not name.startswith("plinthside"):
            found.add((name, version.lstrip("v"), licence.strip() or "see the crate"))
    return sorted(found)


def rows() -> str:
    return "".join(f"| {name} | {version} | {licence} |\n" for name, version, licence in crates())


# C sources that another crate's build compiles into the program.
COMPILED_IN = {"openssl-src", "sqlcipher-src"}
LICENCE = re.compile(r"(licen[cs]e(ref)?|copying|copyright|notice|ofl|unlicense)\b.*(?<!\.rs)(?<!\.c)$", re.IGNORECASE)
# Slint is used under its royalty-free licence, which its crates carry beside the others on offer;
# OpenSSL's `external` holds what only its own build uses.
NOT_OURS = re.compile(r"licenseref-slint-software|gpl-3\.0-only|/external/", re.IGNORECASE)


def licence_files(folder: pathlib.Path) -> list[pathlib.Path]:
    files = (f for f in folder.rglob("*") if f.is_file() and LICENCE.match(f.name))
    return sorted(f for f in files if not NOT_OURS.search(str(f.relative_to(folder.parent))))


def texts() -> str:
    """Every licence text once, under the crates it came with."""
    wanted = {(name, version) for name, version, _ in crates()}
    holders: dict[str, list[str]] = {}
    without = []
    for package in json.loads(cargo("metadata", "--locked", "--format-version", "1"))["packages"]:
        name, version = package["name"], package["version"]
        if (name, version) not in wanted and name not in COMPILED_IN:
            continue
        files = licence_files(pathlib.Path(package["manifest_path"]).parent)
        if not files:
            without.append(f"{name} {version}: {package['license']}, by {', '.join(package['authors']) or 'its authors'}")
        for file in files:
            text = "\n".join(line.rstrip() for line in file.read_text(errors="replace").strip().splitlines())
            holders.setdefault(text, []).append(f"{name} {version}")
    parts = ["Licence texts of what Plinthside is built from\n"]
    parts += [f"{'=' * 78}\n{', '.join(dict.fromkeys(names))}\n\n{text}\n" for text, names in holders.items()]
    parts += [f"{'=' * 78}\nThese carry no text of their own; the terms named are those above.\n", *without]
    return "\n".join(parts) + "\n"


def main() -> int:
    if sys.argv[1:2] == ["--texts"]:
        pathlib.Path(sys.argv[2]).write_text(texts())
        return 0
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
