"""Everything that is measured for speed and memory, in one table: ours, the reference in the same run,
the ratio, and what is aimed at. `table.py [full]`; tests/bench/run builds first.

A row is a dict: what, unit, ours, and where there is one reference (its name), beside (its figure) and
aim. The Rust programs print one row as JSON in each line."""

import json
import platform
import subprocess
import sys

import codes
import photographs
import window
from programs import ROOT, TARGET


def program(name, *arguments):
    command = [str(TARGET / "examples" / name), *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        sys.exit(f"{' '.join(command)} failed:\n{done.stderr}")
    return [json.loads(line) for line in done.stdout.splitlines()]


def parts(full):
    visits, synced, practices = (100_000, 100_000, 1_000) if full else (20_000, 1_000, 100)
    yield "Photographs to the result", photographs.rows
    yield "The solver alone", lambda: program("solve_time")
    yield "Codes and labels", codes.rows
    yield "The window", lambda: window.rows(visits)
    yield "The store", lambda: program("speed", visits)
    yield "Synchronising", lambda: program("cost", "history", 10, 1_000, *[synced] * (synced > 1_000))
    yield "Photographs to a folder", lambda: program("cost", "photographs", 20, ROOT / "build-output")
    yield "Practices in one bucket", lambda: program("cost", "practices", practices)


def figure(value):
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def main():
    (ROOT / "build-output").mkdir(exist_ok=True)
    print(f"on {platform.machine()}, {platform.system()} {platform.release()}")
    print(f"{'':66}{'ours':>9}{'reference':>11}{'ratio':>7}  {'aim':9} {'reference is'}")
    for title, rows in parts("full" in sys.argv[1:]):
        print(f"\n{title}", flush=True)
        for row in rows():
            beside = row.get("beside")
            reference = f"{figure(beside):>11}{row['ours'] / beside:7.2f}" if beside else " " * 18
            end = f"  {row.get('aim', ''):9} {row.get('reference', '')}"
            print(f"  {row['what'] + ', ' + row['unit']:64}{figure(row['ours']):>9}{reference}{end}".rstrip(), flush=True)


main()
