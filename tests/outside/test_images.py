"""Damaged and odd files through the program: exit status, one sentence, bounded memory."""

import os
import subprocess

from conftest import data, program_path

MEMORY_LIMIT_MB = 400


def peak_mb(arguments):
    """Runs the program; its exit status, its messages and its peak memory."""
    process = subprocess.Popen([str(program_path()), *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    message = process.stderr.read()
    process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return process.returncode, message, usage.ru_maxrss / 1024


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
