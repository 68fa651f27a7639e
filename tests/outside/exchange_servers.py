"""Real servers on loopback for the tests of targets: Apache httpd (mod_dav) and nginx (dav-ext) with
TLS and basic authentication; OpenStack Swift with its S3 interface; and PyPI's moto as a second bucket.

Swift is the bucket that counts: a real object store that providers run, which checks S3 signatures,
lists eventually and stores on the disk, and which installs from PyPI in seconds without a service of
the system. (Ceph's radosgw needs monitors and disks of its own; moto only imitates.)
"""

import json
import os
import pwd
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
LOGIN = {"user": "ada", "secret": "plaster"}


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


def start_apache(folder, root, tls):
    """Serves `root` with Apache; returns its address and its process."""
    if not APACHE.exists():
        pytest.skip("apache2 is not here")
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
    return f"https://127.0.0.1:{port}/", process


def start_nginx(folder, root, tls):
    """Serves `root` with nginx; while a file `down` lies in `folder`, answers 503."""
    if not (NGINX.exists() and DAV_EXT.exists()):
        pytest.skip("nginx with dav-ext is not here")
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
    if (-f {folder}/down) {{ return 503; }}
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
    return f"https://127.0.0.1:{port}/", process


STARTERS = {"apache": start_apache, "nginx": start_nginx}


def served(kind, folder, tls):
    root = folder / "dav"
    root.mkdir()
    url, process = STARTERS[kind](folder, root, tls)
    yield {"name": kind, "url": url, "credentials": LOGIN, "certificate": (tls / "ca.pem").read_text()}
    stop(process)


@pytest.fixture(scope="module")
def apache(tls, tmp_path_factory):
    yield from served("apache", tmp_path_factory.mktemp("apache"), tls)


@pytest.fixture(scope="module")
def nginx(tls, tmp_path_factory):
    yield from served("nginx", tmp_path_factory.mktemp("nginx"), tls)


def make_bucket(port, user):
    boto3 = pytest.importorskip("boto3")
    client = boto3.client(
        "s3", endpoint_url=f"http://127.0.0.1:{port}", region_name="us-east-1", aws_access_key_id=user, aws_secret_access_key="plaster"
    )
    client.create_bucket(Bucket="clinic")
    url = f"s3+http://127.0.0.1:{port}/clinic/plinthside"
    return {"name": "bucket", "url": url, "credentials": {"user": user, "secret": "plaster"}}


@pytest.fixture(scope="module")
def moto(tmp_path_factory):
    pytest.importorskip("moto.server")
    port = free_port()
    log = (tmp_path_factory.mktemp("bucket") / "log").open("w")
    process = subprocess.Popen([sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)], stdout=log, stderr=log)
    wait_for(port, process)
    yield make_bucket(port, "ada")
    stop(process)


SWIFT_PROXY = """
[filter:catch_errors]
use = egg:swift#catch_errors
[filter:gatekeeper]
use = egg:swift#gatekeeper
[filter:s3api]
use = egg:swift#s3api
location = us-east-1
[filter:tempauth]
use = egg:swift#tempauth
user_clinic_ada = plaster .admin
"""


@pytest.fixture(scope="module")
def swift(tmp_path_factory):
    """The account, container, object and proxy servers of one small cluster."""
    pytest.importorskip("swift")
    folder = tmp_path_factory.mktemp("swift")
    binaries = Path(sys.executable).parent
    (folder / "devices" / "d1").mkdir(parents=True)
    (folder / "swift.conf").write_text("[swift-hash]\nswift_hash_path_suffix = invented\n[storage-policy:0]\nname = one\ndefault = yes\n")
    log, processes = (folder / "log").open("w"), []
    for server in ("account", "container", "object", "proxy"):
        port = free_port()
        pipeline, rest = f"{server}-server", ""
        if server == "proxy":
            pipeline, rest = "catch_errors gatekeeper s3api tempauth proxy-server", f"account_autocreate = true{SWIFT_PROXY}"
        else:
            ring = folder / f"{server}.builder"
            for step in (["create", "4", "1", "0"], ["add", f"r1z1-127.0.0.1:{port}/d1", "1"], ["rebalance"]):
                subprocess.run([binaries / "swift-ring-builder", ring, *step], check=True, capture_output=True)
        conf = folder / f"{server}-server.conf"
        conf.write_text(
            f"[DEFAULT]\nbind_ip = 127.0.0.1\nbind_port = {port}\nworkers = 0\nuser = {pwd.getpwuid(os.getuid()).pw_name}\n"
            f"swift_dir = {folder}\ndevices = {folder}/devices\nmount_check = false\ndisable_fallocate = true\nlog_name = {server}\n"
            f"[pipeline:main]\npipeline = {pipeline}\n[app:{server}-server]\nuse = egg:swift#{server}\n{rest}"
        )
        environment = {**os.environ, "SWIFT_CONF_DIR": str(folder)}
        processes.append(subprocess.Popen([binaries / f"swift-{server}-server", conf], stdout=log, stderr=log, env=environment, cwd=folder))
        wait_for(port, processes[-1])
    yield make_bucket(port, "clinic:ada")
    for process in processes:
        stop(process)


@pytest.fixture
def spec(request):
    return request.getfixturevalue(request.param)
