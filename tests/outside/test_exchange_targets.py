"""The contract of targets on real servers, on loopback: Apache httpd (mod_dav) and nginx (dav-ext)
with TLS and basic authentication, and an S3-compatible server (PyPI's moto).
"""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from conftest import program_path

APACHE, NGINX = Path("/usr/sbin/apache2"), Path("/usr/sbin/nginx")
DAV_EXT = Path("/usr/lib/nginx/modules/ngx_http_dav_ext_module.so")


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def wait_for(port, process):
    for _ in range(200):
        assert process.poll() is None, "the server ended"
        with socket.socket() as s:
            if s.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise AssertionError("the server does not answer")


def contract(folder, spec, *first):
    path = folder / "spec.json"
    path.write_text(json.dumps(spec))
    command = [program_path().parent / "examples" / "contract", *first, path]
    return subprocess.run(list(map(str, command)), capture_output=True, text=True, timeout=300)


@pytest.fixture(scope="module")
def tls(tmp_path_factory):
    """A certificate authority of the clinic's own, a certificate for 127.0.0.1, a password file."""
    folder = tmp_path_factory.mktemp("tls")
    folder.chmod(0o755)

    def openssl(*a):
        subprocess.run(["openssl", *a], cwd=folder, check=True, capture_output=True)

    ec = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    openssl("req", "-x509", *ec, "-keyout", "ca.key", "-out", "ca.pem", "-days", "2", "-subj", "/CN=Invented Clinic CA")
    openssl("req", *ec, "-keyout", "server.key", "-out", "server.csr", "-subj", "/CN=127.0.0.1")
    (folder / "san").write_text("subjectAltName=IP:127.0.0.1\nextendedKeyUsage=serverAuth\n")
    openssl("x509", "-req", "-in", "server.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-days", "2", "-extfile", "san", "-out", "server.pem")
    subprocess.run(["htpasswd", "-cb", folder / "users", "ada", "plaster"], check=True, capture_output=True)
    for file in folder.iterdir():
        file.chmod(0o644)
    return folder


def stop(process):
    process.terminate()
    try:
        process.wait(20)
    except subprocess.TimeoutExpired:
        process.kill()


@pytest.fixture(scope="module")
def apache(tls, tmp_path_factory):
    if not APACHE.exists():
        pytest.skip("apache2 is not here")
    folder = tmp_path_factory.mktemp("apache")
    root = folder / "dav"
    root.mkdir()
    port = free_port()
    modules = "/usr/lib/apache2/modules"
    loaded = ["mpm_event", "authn_core", "authn_file", "authz_core", "authz_user", "auth_basic", "dav", "dav_fs", "ssl", "socache_shmcb"]
    lines = [f"LoadModule {m}_module {modules}/mod_{m}.so" for m in loaded]
    if os.getuid() == 0:
        shutil.chown(root, "www-data")
        shutil.chown(folder, "www-data")
        lines.append("User www-data\nGroup www-data")
        for parent in [folder, *folder.parents]:
            if str(parent).startswith("/tmp/"):
                parent.chmod(parent.stat().st_mode | 0o055)
    lines.append(f"""
ServerName 127.0.0.1
ServerRoot {folder}
PidFile {folder}/pid
ErrorLog {folder}/log
Listen 127.0.0.1:{port}
DavLockDB {folder}/lock
DocumentRoot {root}
SSLEngine on
SSLCertificateFile {tls}/server.pem
SSLCertificateKeyFile {tls}/server.key
<Directory {root}>
  Dav On
  AuthType Basic
  AuthName clinic
  AuthUserFile {tls}/users
  Require valid-user
</Directory>""")
    (folder / "conf").write_text("\n".join(lines))
    process = subprocess.Popen([APACHE, "-f", folder / "conf", "-DFOREGROUND"])
    wait_for(port, process)
    yield f"https://127.0.0.1:{port}/"
    stop(process)


@pytest.fixture(scope="module")
def nginx(tls, tmp_path_factory):
    if not (NGINX.exists() and DAV_EXT.exists()):
        pytest.skip("nginx with dav-ext is not here")
    folder = tmp_path_factory.mktemp("nginx")
    root = folder / "dav"
    root.mkdir()
    port = free_port()
    user = "user root;" if os.getuid() == 0 else ""
    (folder / "conf").write_text(f"""
load_module {DAV_EXT};
{user}
daemon off; pid {folder}/pid; error_log {folder}/log;
events {{}}
http {{
  access_log off; client_body_temp_path {folder}/body; proxy_temp_path {folder}/p;
  fastcgi_temp_path {folder}/f; uwsgi_temp_path {folder}/u; scgi_temp_path {folder}/s;
  server {{
    listen 127.0.0.1:{port} ssl; ssl_certificate {tls}/server.pem; ssl_certificate_key {tls}/server.key;
    client_max_body_size 100m; root {root};
    location / {{
      auth_basic clinic; auth_basic_user_file {tls}/users;
      dav_methods PUT DELETE MKCOL COPY MOVE; dav_ext_methods PROPFIND OPTIONS;
      create_full_put_path on; dav_access user:rw;
    }}
  }}
}}""")
    process = subprocess.Popen([NGINX, "-c", folder / "conf", "-p", folder])
    wait_for(port, process)
    yield f"https://127.0.0.1:{port}/"
    stop(process)


@pytest.fixture(scope="module")
def bucket(tmp_path_factory):
    pytest.importorskip("moto.server")
    boto3 = pytest.importorskip("boto3")
    port = free_port()
    log = (tmp_path_factory.mktemp("bucket") / "log").open("w")
    process = subprocess.Popen([sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)], stdout=log, stderr=log)
    wait_for(port, process)
    client = boto3.client(
        "s3", endpoint_url=f"http://127.0.0.1:{port}", region_name="us-east-1", aws_access_key_id="ada", aws_secret_access_key="plaster"
    )
    client.create_bucket(Bucket="clinic")
    yield f"s3+http://127.0.0.1:{port}/clinic/plinthside"
    stop(process)


@pytest.fixture
def spec(request, tls):
    url = request.getfixturevalue(request.param)
    made = {"name": request.param, "url": url, "credentials": {"user": "ada", "secret": "plaster"}}
    if url.startswith("https"):
        made["certificate"] = (tls / "ca.pem").read_text()
    return made


@pytest.mark.parametrize("spec", ["apache", "nginx", "bucket"], indirect=True)
def test_the_contract_holds(spec, tmp_path):
    done = contract(tmp_path, spec)
    assert done.returncode == 0 and "holds" in done.stdout, done.stderr


@pytest.mark.parametrize("spec", ["apache", "nginx"], indirect=True)
def test_a_wrong_password_and_a_strange_certificate_are_refused_in_words(spec, tmp_path):
    wrong = {**spec, "credentials": {"user": "ada", "secret": "revoked"}}
    said = contract(tmp_path, wrong, "refuse")
    assert said.returncode == 0 and "refuses this device's user name or password" in said.stdout, said
    strange = {k: v for k, v in spec.items() if k != "certificate"}
    said = contract(tmp_path, strange, "refuse")
    assert said.returncode == 0 and "cannot prove who it is" in said.stdout, said
