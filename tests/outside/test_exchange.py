"""Sealed packages as other people's software sees them.

Debian's `age` and `unzip`, the Library of Congress `bagit` (RFC 8493), `fhir.resources` (R4B) and the
FHIR R4 JSON schema are asked, none of them ours. Codes of units: The Unified Code for Units of
Measure, 2.1 (table 1 and its annotations).
"""

import json
import re
import shutil
import subprocess
import zipfile

import pytest
from conftest import data, program_path

bagit = pytest.importorskip("bagit")
bundle_of = pytest.importorskip("fhir.resources.R4B.bundle")
jsonschema = pytest.importorskip("jsonschema")

# Every unit the package uses, by its UCUM code.
UCUM = {"mm", "cm", "deg", "kg", "1", "{score}", "{Shore_A}"}
# FHIR R4's required value sets where neither checker has them.
REQUEST_STATUS = {"draft", "active", "on-hold", "revoked", "completed", "entered-in-error", "unknown"}


def example():
    return program_path().parent / "examples" / "package"


def run(*command, **more):
    return subprocess.run([str(c) for c in command], capture_output=True, text=True, timeout=120, **more)


@pytest.fixture(scope="module")
def packages(tmp_path_factory):
    if not shutil.which("age"):
        pytest.skip("age is not here")
    folder = tmp_path_factory.mktemp("packages")
    done = run(example(), folder)
    assert done.returncode == 0, done.stderr
    return folder, done.stdout


def unpack(folder, name, out):
    """age, unzip and nothing of ours: the bag's folder."""
    out.mkdir()
    zipped = out / "bag.zip"
    done = run("age", "-d", "-i", folder / "lab-key.txt", "-o", zipped, folder / name)
    assert done.returncode == 0, done.stderr
    assert run("unzip", "-t", zipped).returncode == 0
    assert run("unzip", "-q", zipped, "-d", out).returncode == 0
    return out / name.removeprefix("named-").removesuffix(".age")


def test_the_bag_is_valid(packages, tmp_path):
    bag = bagit.Bag(str(unpack(packages[0], "K7Q2-M9TR-B4HX-C-r1.age", tmp_path / "r1")))
    bag.validate()
    assert bag.info["External-Identifier"] == "K7Q2-M9TR-B4HX-C-r1"
    octets, files = bag.info["Payload-Oxum"].split(".")
    payload = [p for p in bag.payload_files()]
    assert int(files) == len(payload) == 6
    assert {"data/order.pdf", "data/bench.pdf", "data/order.fhir.json", "data/measurement.json"} <= set(payload)


def test_the_bag_says_when_a_byte_was_changed(packages, tmp_path):
    folder = unpack(packages[0], "K7Q2-M9TR-B4HX-C-r1.age", tmp_path / "r1")
    pdf = folder / "data" / "order.pdf"
    pdf.write_bytes(pdf.read_bytes().replace(b"order", b"Order"))
    with pytest.raises(bagit.BagError):
        bagit.Bag(str(folder)).validate()


@pytest.mark.parametrize("name", ["K7Q2-M9TR-B4HX-C-r1.age", "K7Q2-M9TR-B4HX-C-r2.age", "named-K7Q2-M9TR-B4HX-C-r2.age"])
def test_the_bundle_is_fhir(packages, tmp_path, name):
    text = (unpack(packages[0], name, tmp_path / "out") / "data" / "order.fhir.json").read_text()
    bundle = json.loads(text)
    parsed = bundle_of.Bundle.model_validate_json(text)
    assert parsed.type == "collection"
    resources = [e["resource"] for e in bundle["entry"]]
    kinds = {r["resourceType"] for r in resources}
    assert {"Patient", "DeviceRequest", "Observation", "BodyStructure", "DocumentReference", "Media"} <= kinds
    # Every reference leads to a resource of the Bundle; every fullUrl is its resource's id.
    urls = {e["fullUrl"] for e in bundle["entry"]}
    assert len(urls) == len(resources)
    assert all(e["fullUrl"] == "urn:uuid:" + e["resource"]["id"] for e in bundle["entry"])
    references = set(re.findall(r'"reference": "([^"]+)"', text))
    assert references and references <= urls
    # Units are UCUM and nothing else.
    quantities = re.findall(r'"system": "http://unitsofmeasure.org",\s*"code": "([^"]+)"', text)
    assert quantities and set(quantities) <= UCUM
    request = next(r for r in resources if r["resourceType"] == "DeviceRequest")
    assert request["intent"] == "order" and request["status"] in REQUEST_STATUS
    # The name stays out unless it was asked for.
    assert ("Zwetschgenbaum" in text) == name.startswith("named-")
    assert ("1951-04-02" in text) == name.startswith("named-")


def test_the_r4_schema_accepts_the_bundle(packages, tmp_path):
    schema = json.loads((data("fhir") / "schema" / "fhir.schema.json").read_text())
    folder = unpack(packages[0], "K7Q2-M9TR-B4HX-C-r2.age", tmp_path / "r2")
    bundle = json.loads((folder / "data" / "order.fhir.json").read_text())
    for entry in bundle["entry"]:
        part = {"$ref": f"#/definitions/{entry['resource']['resourceType']}", "definitions": schema["definitions"]}
        jsonschema.Draft6Validator(part).validate(entry["resource"])
    outer = {"$ref": "#/definitions/Bundle", "definitions": schema["definitions"]}
    broken = json.loads(json.dumps(bundle))
    broken["entry"] = []
    jsonschema.Draft6Validator(outer).validate(broken)
    broken["surprise"] = 1
    assert not jsonschema.Draft6Validator(outer).is_valid(broken)


def test_what_age_seals_is_opened(packages, tmp_path):
    """The zip sealed anew by the age program opens like ours, and a changed one does not."""
    folder = packages[0]
    key = (folder / "lab-key.txt").read_text()
    recipient = re.search(r"public key: (age1\w+)", key)[1]
    zipped, sealed = tmp_path / "bag.zip", tmp_path / "again.age"
    assert run("age", "-d", "-i", folder / "lab-key.txt", "-o", zipped, folder / "K7Q2-M9TR-B4HX-C-r2.age").returncode == 0
    assert run("age", "-r", recipient, "-o", sealed, zipped).returncode == 0
    opened = run(example(), "open", sealed, folder / "lab-key.txt", tmp_path / "lab")
    assert opened.returncode == 0, opened.stderr
    assert "replaces revision 1. Reason: shoe changed" in opened.stdout
    assert "10° → 15°" in opened.stdout
    # Another payload under the same manifests, sealed to the lab by somebody else.
    changed = tmp_path / "changed.zip"
    with zipfile.ZipFile(zipped) as old, zipfile.ZipFile(changed, "w") as new:
        for entry in old.namelist():
            content = old.read(entry)
            new.writestr(entry, content.replace(b'"value": 4', b'"value": 9') if entry.endswith("fhir.json") else content)
    assert run("age", "-r", recipient, "-o", tmp_path / "changed.age", changed).returncode == 0
    refused = run(example(), "open", tmp_path / "changed.age", folder / "lab-key.txt", tmp_path / "lab2")
    assert refused.returncode == 1 and "not what was packed" in refused.stderr
    assert not (tmp_path / "lab2").exists()


def test_another_key_and_a_cut_package_open_nothing(packages, tmp_path):
    folder = packages[0]
    other = tmp_path / "other.txt"
    assert run("age-keygen", "-o", other).returncode == 0
    package = folder / "K7Q2-M9TR-B4HX-C-r1.age"
    cut = tmp_path / "cut.age"
    cut.write_bytes(package.read_bytes()[:-100])
    for file, key in [(package, other), (cut, folder / "lab-key.txt")]:
        refused = run(example(), "open", file, key, tmp_path / "out")
        assert refused.returncode == 1 and refused.stderr.count("\n") == 1
        assert not (tmp_path / "out").exists()


def test_receipts_come_back(packages):
    assert "receipt r1 Question Bo Which blue?" in packages[1]
    assert "receipt r2 Question Bo Which blue?" in packages[1]
