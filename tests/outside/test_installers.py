"""The installers, made by packaging/build from the program that is built already: what is in them, and
that they install and run where nothing else is.

Held against dpkg and apt, desktop-file-validate (freedesktop Desktop Entry Specification),
update-mime-database (Shared MIME-info Specification) and a clean Debian made by mmdebstrap."""

import fnmatch
import os
import re
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from conftest import ROOT, program_path
from hand import Screen

TOOLS = ["dpkg-deb", "dpkg-shlibdeps", "desktop-file-validate", "update-mime-database", "Xvfb"]
pytestmark = pytest.mark.skipif(not all(map(shutil.which, TOOLS)), reason=f"needs {', '.join(TOOLS)}")


def run(*command, **more):
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True, **more)
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def installers():
    assert program_path().is_file(), f"build the program first: {program_path()}"
    run(ROOT / "packaging/build", "--as-built", env=os.environ | {"CARGO_TARGET_DIR": str(program_path().parents[1])})
    folder = ROOT / "build-output/installers"
    (deb,), (archive,) = folder.glob("*.deb"), folder.glob("*.tar.gz")
    return deb, archive


@pytest.fixture(scope="module")
def tree(installers, tmp_path_factory):
    """What the Debian package puts under /usr."""
    folder = tmp_path_factory.mktemp("deb")
    run("dpkg-deb", "-x", installers[0], folder)
    return folder / "usr"


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    run(program_path(), "demo", "--headless", folder)
    return folder


def test_the_debian_package_says_what_it_is_and_runs_nothing_of_its_own(installers, tmp_path):
    fields = {f: run("dpkg-deb", "-f", installers[0], f).strip() for f in ["Package", "Version", "Section", "Maintainer"]}
    version = run(program_path(), "--version").split()[-1]
    assert (fields["Package"], fields["Version"], fields["Section"]) == ("plinthside", version, "science")
    assert fields["Maintainer"].endswith(".example.org>")
    run("dpkg-deb", "-e", installers[0], tmp_path)
    assert {f.name for f in tmp_path.iterdir()} <= {"control", "md5sums"}, "no scripts, no conffiles"


def test_the_licences_of_everything_inside_lie_beside_the_program(tree):
    doc = tree / "share/doc/plinthside"
    for name in ["copyright", "LICENSE-MIT", "LICENSE-APACHE", "THIRD-PARTY.md", "README.md"]:
        assert (doc / name).stat().st_size > 0, name
    texts = run("gzip", "-dc", doc / "licences.txt.gz")
    for words in ["Slint Royalty-free", "Regents of The University of Michigan", "ZETETIC LLC", "Apache License"]:
        assert words in texts, words
    # Every crate of the notices is named with a text, or with its terms.
    crates = re.findall(r"^\| (\S+) \| (\d\S*) \|", (doc / "THIRD-PARTY.md").read_text(), re.MULTILINE)
    assert len(crates) > 100
    assert [c for c in crates if " ".join(c) not in texts] == []


def test_the_desktop_entry_is_valid_and_names_the_program_and_its_icon(tree):
    entry = tree / "share/applications/plinthside.desktop"
    assert run("desktop-file-validate", entry) == ""
    fields = dict(line.split("=", 1) for line in entry.read_text().splitlines() if "=" in line)
    assert fields["Exec"] == "plinthside %f" and (tree / "bin/plinthside").stat().st_mode & 0o111
    icons = tree / "share/icons/hicolor"
    assert (icons / f"scalable/apps/{fields['Icon']}.svg").is_file()
    for size in [32, 48, 64, 128, 256]:
        png = (icons / f"{size}x{size}/apps/{fields['Icon']}.png").read_bytes()
        # The size in a PNG's header (ISO/IEC 15948, 11.2.2).
        assert (int.from_bytes(png[16:20]), int.from_bytes(png[20:24])) == (size, size)


def test_packages_belong_to_the_program_by_their_names_and_other_age_files_do_not(tree, demo, tmp_path):
    (tmp_path / "packages").mkdir()
    shutil.copy(tree / "share/mime/packages/plinthside.xml", tmp_path / "packages")
    run("update-mime-database", tmp_path)
    globs = [line.split(":") for line in (tmp_path / "globs2").read_text().splitlines() if line[0] != "#"]
    patterns = [pattern for _, kind, pattern, *_ in globs if kind == "application/x-plinthside-package"]

    def ours(name):
        return any(fnmatch.fnmatchcase(name, pattern) for pattern in patterns)

    packages = list(demo.rglob("*.age"))
    assert packages and all(ours(package.name) for package in packages), packages
    assert ours("7K3M-9QXD-4T2P-A-r12.age")
    assert not any(map(ours, ["notes.age", "7K3M-9QXD-4T2P-A-r1.receipt.age", "clinic-r1.age"]))
    entry = (tree / "share/applications/plinthside.desktop").read_text()
    assert "MimeType=application/x-plinthside-package;" in entry


def shown_window(display):
    """The program's window on an X screen, once it is there."""
    from Xlib import X, display as displays

    screen = displays.Display(display)
    for _ in range(300):
        for window in screen.screen().root.query_tree().children:
            name = window.get_wm_name()
            if name == "Plinthside" and window.get_attributes().map_state == X.IsViewable:
                return screen, window
        time.sleep(0.1)
    raise AssertionError("no window")


@pytest.fixture(scope="module")
def libraries(tree, tmp_path_factory):
    """Every library that the packaged program holds with its window open; its icon and its class are
    looked at on the way."""
    from Xlib import Xatom

    home = tmp_path_factory.mktemp("home")
    screen = Screen(1280, 800)
    environment = dict(os.environ, DISPLAY=screen.display, HOME=str(home), XDG_RUNTIME_DIR=str(home))
    environment.pop("WAYLAND_DISPLAY", None)
    process = subprocess.Popen([tree / "bin/plinthside"], env=environment)
    try:
        display, window = shown_window(screen.display)
        assert window.get_wm_class()[1] == "plinthside", "as the desktop entry's StartupWMClass"
        icon = window.get_full_property(display.intern_atom("_NET_WM_ICON"), Xatom.CARDINAL)
        assert icon is not None and list(icon.value[:2]) == [256, 256]
        maps = Path(f"/proc/{process.pid}/maps").read_text()
    finally:
        process.terminate()
        process.wait()
        screen.close()
    found = {Path(path).name for path in re.findall(r"(/\S+\.so[.\d]*)$", maps, re.MULTILINE)}
    assert any(name.startswith("libX11.so") for name in found), found
    return found


CLEAN_ROOT = """set -eu
apt-get install -y -qq --no-install-recommends /tmp/plinthside.deb >/dev/null
useradd -m stranger
su stranger -c 'cd && plinthside demo --headless out'
cp -r /home/stranger/out /tmp/out
if su stranger -c plinthside 2>/tmp/no-screen; then exit 1; fi
ldconfig -p >/tmp/libraries; find / -xdev -name '*.so*' -printf '%f\\n' >>/tmp/libraries
apt-get purge -y -qq plinthside >/dev/null
! find / -xdev -name '*plinthside*' -not -path '/tmp/*' -not -path '/home/*' -not -path '/var/lib/apt/*' | grep .
# The archive, as its own note says, for one user alone.
mkdir /home/stranger/.local && tar -C /tmp -xzf /tmp/plinthside.tar.gz
grep -q 'cp -r bin share ~/.local/' /tmp/plinthside-*/INSTALL.txt
cp -r /tmp/plinthside-*/bin /tmp/plinthside-*/share /home/stranger/.local/
su stranger -c '~/.local/bin/plinthside code new' >/tmp/code
"""


@pytest.mark.skipif(os.geteuid() != 0 or not shutil.which("mmdebstrap"), reason="a clean root needs root and mmdebstrap")
def test_both_install_and_run_in_a_clean_debian(installers, libraries, tmp_path):
    system = dict(line.split("=", 1) for line in Path("/etc/os-release").read_text().splitlines() if "=" in line)
    if system["ID"] != "debian":
        pytest.skip("the program is built against this system's libraries, and it is no Debian")
    (tmp_path / "script").write_text(CLEAN_ROOT)
    deb, archive = installers
    hooks = [f"upload {deb} /tmp/plinthside.deb", f"upload {archive} /tmp/plinthside.tar.gz",
             f"upload {tmp_path / 'script'} /tmp/script", 'chroot "$1" sh /tmp/script',
             *(f"download /tmp/{name} {tmp_path / name}" for name in ["libraries", "code", "no-screen"]),
             f'cp -r "$1/tmp/out" {tmp_path / "out"}']
    run("mmdebstrap", "--variant=minbase", "--dpkgopt=force-unsafe-io", "--quiet",
        *(f"--customize-hook={hook}" for hook in hooks), system["VERSION_CODENAME"], "/dev/null", timeout=600)

    for name in ["left-order.pdf", "left-bench.pdf", "left-label.png", "right-measurement.json", "demo.store"]:
        assert (tmp_path / "out" / name).stat().st_size > 0, name
    # Without a screen the window is refused in a sentence that says what works.
    assert "demo --headless" in (tmp_path / "no-screen").read_text()
    there = (tmp_path / "libraries").read_text()
    assert {name for name in libraries if name not in there} == set(), "libraries the package does not ask for"
    assert re.fullmatch(r"([0-9A-Z]{4}-){3}[0-9A-Z]\n", (tmp_path / "code").read_text())
