"""A day of eight hours in a minute: 40 visits on one tablet that is killed, locked, synchronised and
filled to the brim on the way. Nothing acknowledged is lost, and the memory does not grow.
"""

import json
import random
import subprocess
from collections import Counter

import pytest
from conftest import program_path
from test_exchange_faults import small_disk

VISITS, KILLS, PASSPHRASE = 40, 8, "a long day at the couch"


def numbers_in(value):
    """Every number of a JSON value."""
    if isinstance(value, dict):
        return [n for v in value.values() for n in numbers_in(v)]
    if isinstance(value, list):
        return [n for v in value for n in numbers_in(v)]
    return [float(value)] if isinstance(value, (int, float)) and not isinstance(value, bool) else []


class Tablet:
    def __init__(self, store, folder):
        self.store, self.passphrase = store, folder / "passphrase.txt"
        self.passphrase.write_text(PASSPHRASE + "\n")
        self.kept, self.memory_kib, self.trouble, self.recovered = {}, [], [], 0

    def plinthside(self, *words):
        command = [program_path(), *words, "--store", self.store, "--passphrase-file", self.passphrase]
        done = subprocess.run(list(map(str, command)), capture_output=True, text=True, timeout=120)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def work(self, first, last, plug_after=None, brim=None):
        """Works until done, or until the plug is pulled after so many entries; how many visits were put away."""
        command = [program_path().parent / "examples" / "long_day", self.store, str(first), str(last)]
        process = subprocess.Popen(list(map(str, command)), stdout=subprocess.PIPE, text=True)
        away, entries, done = 0, 0, False
        for line in process.stdout:
            word, _, rest = line.rstrip("\n").partition(" ")
            if word == "kept":
                code, value = rest.split()
                self.kept.setdefault(code, Counter())[float(value)] += 1
                entries += 1
                if brim and entries == 30:
                    brim.fill()
                if entries == plug_after:
                    process.kill()
                    break
            elif word == "trouble":
                assert brim, f"nothing was full, and yet: {rest}"
                self.trouble.append(rest)
                brim.free()
            elif word == "away":
                away += 1
            elif word == "memory":
                self.memory_kib.append(int(rest))
            elif word == "recovered":
                self.recovered += 1
            elif word == "done":
                done = True
        process.wait()
        assert done or plug_after, "it ended by itself"
        return away

    def lost(self):
        missing = []
        for code, kept in self.kept.items():
            found = json.loads(self.plinthside("find", code, "--json"))
            visits = [json.loads(self.plinthside("show", case["id"], "--json")) for case in found]
            visits = [v for v in visits if v["person"]["code"] == code]
            here = Counter(numbers_in(visits))
            missing += [(code, n) for n, count in kept.items() if here[n] < count]
        return missing


class Brim:
    """Fills the disk, and frees it again."""

    def __init__(self, disk):
        self.file = disk / "ballast"

    def fill(self):
        subprocess.run(["dd", "if=/dev/zero", f"of={self.file}", "bs=64k"], capture_output=True)
        subprocess.run(["dd", "if=/dev/zero", f"of={self.file}.2", "bs=512"], capture_output=True)

    def free(self):
        self.file.unlink(missing_ok=True)
        self.file.with_suffix(".2").unlink(missing_ok=True)


def test_a_long_day_loses_nothing_and_does_not_grow(tmp_path):
    chance = random.Random(20261126)
    (tmp_path / "clinic").mkdir()
    with small_disk(tmp_path / "disk", 64) as _:
        tablet = Tablet(tmp_path / "disk" / "clinic.store", tmp_path)
        brim = Brim(tmp_path / "disk")
        number = 1 + tablet.work(1, 2)
        tablet.plinthside("sync", tmp_path / "clinic", "--keep-as", "Clinic")
        for _ in range(KILLS):
            number += 1 + tablet.work(number, VISITS, plug_after=chance.randrange(10, 120))
        number += tablet.work(number, number + 9, brim=brim)
        brim.free()
        tablet.memory_kib.clear()
        tablet.work(number, VISITS)
        assert not tablet.lost()
        assert tablet.recovered >= KILLS - 1
        assert tablet.trouble and "full" in tablet.trouble[0], tablet.trouble
        tablet.plinthside("check")
        tablet.plinthside("sync", tmp_path / "clinic")
    entries = sum(sum(kept.values()) for kept in tablet.kept.values())
    first, last = tablet.memory_kib[3], max(tablet.memory_kib[-5:])
    print(f"\n{len(tablet.kept)} visits, {entries} entries, {KILLS} kills, {tablet.recovered} recovered, "
          f"full disk said {len(tablet.trouble)} times; memory {first / 1024:.0f} MB after 4 visits, {last / 1024:.0f} MB at the end")
    assert last < 1.15 * first, "the memory grows"
