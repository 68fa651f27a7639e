"""The contract of targets on real servers, on loopback, and what they refuse in words."""

import pytest
from exchange_servers import apache, contract, moto, nginx, spec, swift, tls  # noqa: F401 (fixtures)


@pytest.mark.parametrize("spec", ["apache", "nginx", "swift", "moto"], indirect=True)
def test_the_contract_holds(spec, tmp_path):
    done = contract(tmp_path, spec)
    assert done.returncode == 0 and "holds" in done.stdout, done.stderr


@pytest.mark.parametrize("spec", ["apache", "nginx", "swift"], indirect=True)
def test_a_wrong_password_is_refused_in_words(spec, tmp_path):
    wrong = {**spec, "credentials": {**spec["credentials"], "secret": "mistyped"}}
    said = contract(tmp_path, wrong, "refuse")
    assert said.returncode == 0 and "refuses this device's user name or password" in said.stdout, said


@pytest.mark.parametrize("spec", ["apache", "nginx"], indirect=True)
def test_a_strange_certificate_is_refused_in_words(spec, tmp_path):
    strange = {k: v for k, v in spec.items() if k != "certificate"}
    said = contract(tmp_path, strange, "refuse")
    assert said.returncode == 0 and "cannot prove who it is" in said.stdout, said
