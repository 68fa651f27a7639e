"""A file dropped on the program's real window, as a file manager drops it: XDND version 5, as
https://freedesktop.org/wiki/Specifications/XDND says it, by a drag source written with python-xlib."""

import shutil
import time

import pytest

from hand import Hand, Screen

pytestmark = pytest.mark.skipif(not all(shutil.which(t) for t in ["Xvfb", "xdotool"]), reason="needs Xvfb, xdotool")


def drop(display_name, path):
    """Drags a file over the program's window and lets it go; True when the window has taken it."""
    from Xlib import X, display
    from Xlib.protocol import event

    screen = display.Display(display_name)
    root = screen.screen().root
    atom = screen.intern_atom
    uris, selection = atom("text/uri-list"), atom("XdndSelection")

    def aware(window):
        if window.get_full_property(atom("XdndAware"), X.AnyPropertyType):
            return window
        return next(filter(None, map(aware, window.query_tree().children)), None)

    target = aware(root)
    source = root.create_window(0, 0, 1, 1, 0, X.CopyFromParent)
    source.set_selection_owner(selection, X.CurrentTime)

    def say(kind, *data):
        values = [source.id, *data] + [0] * (4 - len(data))
        target.send_event(event.ClientMessage(window=target, client_type=atom(kind), data=(32, values)))
        screen.flush()

    def answer(wanted, seconds=5):
        """Hands the path over whenever it is asked for, until the window says what is waited for."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if not screen.pending_events():
                time.sleep(0.02)
                continue
            told = screen.next_event()
            if told.type == X.SelectionRequest:
                told.requestor.change_property(told.property, uris, 8, path.as_uri().encode() + b"\r\n")
                told.requestor.send_event(event.SelectionNotify(
                    time=told.time, requestor=told.requestor, selection=told.selection, target=told.target,
                    property=told.property))
                screen.flush()
            elif told.type == X.ClientMessage and told.client_type == atom(wanted):
                return told.data[1]
        return None

    assert target is not None, "no window takes files"
    say("XdndEnter", 5 << 24, uris)
    say("XdndPosition", 0, 100 << 16 | 100, X.CurrentTime, atom("XdndActionCopy"))
    assert answer("XdndStatus"), "the window does not want it"
    say("XdndDrop", 0, X.CurrentTime)
    return answer("XdndFinished") is not None


def test_a_package_dropped_on_the_window_leads_to_its_screen(tmp_path):
    package = tmp_path / "7K3M-9QXD-4T2P-A-r1.age"
    package.write_bytes(b"age-encryption.org/v1\n")
    photograph = tmp_path / "cast.jpg"
    photograph.write_bytes(b"\xff\xd8\xff")
    notes = tmp_path / "notes.txt"
    notes.write_text("trim line as before")
    screen = Screen(1280, 800)
    hand = Hand(screen, tmp_path)
    try:
        hand.open()
        # A photograph has no visit here, anything else no screen: both leave it as it is and say so.
        assert drop(screen.display, photograph)
        hand.until(lambda all: any("step Photographs of a visit" in e["name"] for e in all), "a sentence")
        assert drop(screen.display, notes)
        hand.until(lambda all: any(".age" in e["name"] for e in all), "a sentence")
        assert not any(e["name"] == "Open the package" for e in hand.elements())
        assert drop(screen.display, package)
        hand.until(lambda all: any(e["name"] == "Open the package" for e in all), "the screen of packages")
        hand.until(lambda all: any(e["value"] == str(package) for e in all), "the package's path")
        # Without a key it stays closed; the store behind stays closed too.
        hand.touch("Open the package")
        hand.until(lambda all: any("key file: without it" in e["name"] for e in all), "a sentence")
    finally:
        hand.close()
        screen.close()


def test_the_program_started_on_a_package_opens_on_its_screen(tmp_path):
    package = tmp_path / "7K3M-9QXD-4T2P-A-r1.age"
    package.write_bytes(b"age-encryption.org/v1\n")
    screen = Screen(1280, 800)
    hand = Hand(screen, tmp_path)
    try:
        hand.open(package)
        hand.until(lambda all: any(e["value"] == str(package) for e in all), "the package's path")
        # A workshop that keeps no records of its own may turn back to them all the same.
        hand.touch("Back")
        hand.until(lambda all: hand.find("Make the store", all), "the first start")
    finally:
        hand.close()
        screen.close()
