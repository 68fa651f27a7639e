"""Faults of real targets in the middle of a synchronisation: each ends it with a sentence, and the
next one finishes it with nothing lost (`examples/contract interrupted` checks that).
"""

import json
import re
import socket
import subprocess
import threading
from contextlib import contextmanager

import pytest
from conftest import program_path
from exchange_servers import LOGIN, STARTERS, apache, free_port, nginx, spec, stop, swift, tls  # noqa: F401 (fixtures)


def interrupted(folder, spec, fault, mend):
    """What the user reads when `fault` comes between joining and synchronising."""
    path = folder / "spec.json"
    path.write_text(json.dumps(spec))
    command = [program_path().parent / "examples" / "contract", "interrupted", path]
    process = subprocess.Popen(list(map(str, command)), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        assert process.stdout.readline() == "ready\n", process.stderr.read()
        fault()
        process.stdin.write("\n")
        process.stdin.flush()
        said = process.stdout.readline()
        assert said, process.stderr.read()
        mend()
        out, errors = process.communicate("\n", timeout=300)
        assert process.returncode == 0 and out == "holds\n", errors
        return said
    finally:
        process.kill()


@contextmanager
def small_disk(folder, megabytes):
    folder.mkdir(exist_ok=True)
    if subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", folder], capture_output=True).returncode:
        pytest.skip("a small disk can only be mounted as root")
    try:
        yield lambda size: subprocess.run(["mount", "-o", f"remount,size={size}m", folder], check=True)
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


@pytest.mark.parametrize("kind", ["folder", "apache", "nginx"])
def test_a_full_disk(kind, tls, tmp_path_factory):
    folder = tmp_path_factory.mktemp("full")
    with small_disk(folder / "disk", 10) as resize:
        spec, process = {"name": "Clinic", "url": str(folder / "disk")}, None
        if kind != "folder":
            spec["url"], process = STARTERS[kind](folder, folder / "disk", tls)
            spec |= {"credentials": LOGIN, "certificate": (tls / "ca.pem").read_text()}
        try:
            said = interrupted(folder, spec, lambda: None, lambda: resize(100))
        finally:
            if process:
                stop(process)
    # nginx says 500 and no more where WebDAV has 507.
    full = "Clinic could not do this (it answers 500 Internal Server Error)" if kind == "nginx" else "Clinic is full. Make room there"
    assert said.startswith(full), said


@pytest.mark.parametrize("spec", ["apache", "nginx"], indirect=True)
def test_revoked_credentials(spec, tls, tmp_path):
    def password(text):
        subprocess.run(["htpasswd", "-b", tls / "users", "ada", text], check=True, capture_output=True)

    said = interrupted(tmp_path, spec, lambda: password("another"), lambda: password("plaster"))
    assert "refuses this device's user name or password" in said


class Line:
    """A line to a server that can be cut in the middle of what is sent, or answer 503 itself."""

    def __init__(self, url):
        scheme, host, port, path = re.match(r"(.*?://)([^:/]+):(\d+)(.*)", url).groups()
        self.server, self.port, self.cut_after, self.busy, self.cuts = (host, int(port)), free_port(), None, False, 0
        self.url = f"{scheme}{host}:{self.port}{path}"
        self.listener = socket.create_server((host, self.port))
        threading.Thread(target=self.accept, daemon=True).start()

    def accept(self):
        while True:
            client, _ = self.listener.accept()
            threading.Thread(target=self.carry, args=(client,), daemon=True).start()

    def carry(self, client):
        if self.busy:
            self.cuts += 1
            client.recv(1 << 16)
            client.sendall(b"HTTP/1.1 503 Service Unavailable\r\nContent-Length: 0\r\nConnection: close\r\n\r\n")
            client.close()
            return
        server = socket.create_connection(self.server)
        threading.Thread(target=self.pump, args=(server, client, False), daemon=True).start()
        self.pump(client, server, True)

    def pump(self, source, target, counted):
        sent = 0
        try:
            while data := source.recv(1 << 16):
                sent += len(data)
                if counted and self.cut_after is not None and sent > self.cut_after:
                    self.cuts += 1
                    break
                target.sendall(data)
        except OSError:
            pass
        for end in (source, target):
            try:
                end.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass


@pytest.mark.parametrize("spec", ["apache", "nginx", "swift"], indirect=True)
def test_a_connection_dropped_in_mid_body(spec, tmp_path):
    line = Line(spec["url"])

    def cut(after):
        line.cut_after = after

    said = interrupted(tmp_path, {**spec, "url": line.url}, lambda: cut(1_000_000), lambda: cut(None))
    assert line.cuts and "Everything is kept on this device" in said, said


def test_503_of_nginx(nginx, tmp_path, tmp_path_factory):
    down = next(p for p in tmp_path_factory.getbasetemp().glob("nginx*")) / "down"
    said = interrupted(tmp_path, nginx, down.touch, down.unlink)
    assert "ynchronise again" in said, said


def test_503_before_swift(swift, tmp_path):
    line = Line(swift["url"])

    def busy(now):
        line.busy = now
        # Connections kept open would pass the answer by.
        line.cut_after = 0 if now else None

    said = interrupted(tmp_path, {**swift, "url": line.url}, lambda: busy(True), lambda: busy(False))
    assert line.cuts and "ynchronise again" in said, said
