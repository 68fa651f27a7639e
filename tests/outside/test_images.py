"""Damaged and odd files through the program: exit status, one sentence, bounded memory."""

import subprocess
import sys

from conftest import data, program_path

MEMORY_LIMIT_MB = 400


# A process's peak counts what whoever started it held, so a small process starts the program.
STARTER = """
import os, sys
child = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ)
_, status, usage = os.wait4(child, 0)
print("\\n", usage.ru_maxrss)
sys.exit(os.waitstatus_to_exitcode(status) % 256)
"""


def peak_mb(arguments):
    """Runs the program; its exit status, its messages and its peak memory."""
    command = [sys.executable, "-S", "-c", STARTER, str(program_path()), *arguments]
    done = subprocess.run(command, capture_output=True, text=True)
    return done.returncode, done.stderr, int(done.stdout.split()[-1]) / 1024


def test_every_file_ends_in_a_result_or_one_sentence(program):
    folder = data("images")
    names = sorted(path for path in folder.rglob("*") if path.is_file() and "exif-orientation" not in str(path))
    refused, worst = 0, 0.0
    for path in names:
        status, message, memory = peak_mb(["detect", "--json", str(path)])
        assert status in (0, 1), f"{path.name}: exit {status}: {message}"
        worst = max(worst, memory)
        if status == 1:
            refused += 1
            assert path.name in message, message
            assert len(message.strip().splitlines()) == 1, message
    print(f"\n{len(names)} files: {refused} refused in words, peak memory {worst:.0f} MB")
    assert worst < MEMORY_LIMIT_MB and refused > 100
