"""The real window under Xvfb: one whole visit by pointer and keys at four sizes, every screen kept as
a picture in build-output/screens, and the power cut in the middle of each step."""

import json
import shutil
import subprocess
import time

import pytest

import hand as window
from hand import ROOT, Hand, Screen, first_start, photographs, unlock

pytestmark = pytest.mark.skipif(
    not all(shutil.which(t) for t in ["Xvfb", "xdotool", "import"]), reason="needs Xvfb, xdotool, ImageMagick"
)
SIZES = [(1280, 800), (800, 1280), (1920, 1200), (1366, 768)]
PHOTOS = [f"left-{i}.jpg" for i in (1, 2, 4, 5, 6, 7)]
SCREENS = ["Person", "Examine", "Position", "Cast", "Check", "Order", "Label", "Hand over", "Follow up"]


def person(hand):
    hand.touch("New visit")
    hand.touch("New visit, left foot")
    for _ in range(3):
        hand.touch("given")
    hand.picture("02-person")


def examine(hand):
    hand.touch("Examine")
    for presses in (3, 5):
        for _ in range(presses):
            hand.touch("More")
        hand.touch("Next reading")
    hand.picture("03-examine")


def position(hand):
    hand.touch("Position")
    hand.touch("prone")
    hand.picture("04-position")


def cast(hand):
    hand.touch("Cast")
    hand.touch("fast plaster")
    hand.touch("First slab dipped")
    hand.picture("05-cast")
    # The button sleeps two seconds, so that a wet double touch skips nothing.
    time.sleep(2.5)
    hand.touch("Removed")
    time.sleep(2.5)


def take(hand):
    hand.touch("Cast")
    hand.touch("On to the check")
    photographs(hand.folder, PHOTOS)
    hand.picture("06-photographs")
    hand.touch(f"Take in {len(PHOTOS)} photographs")
    # A whole set leads on to the marks.
    hand.until(hand.photograph, "the marking screen", 120)
    hand.until(lambda all: not any(e["name"].startswith("reading photographs") for e in all), "the tags", 120)


NAMES = {"malleolus-medial": "Medial malleolus", "malleolus-lateral": "Lateral malleolus", "mtp-1": "First MTP",
         "mtp-5": "Fifth MTP", "heel-upper": "Heel, upper", "heel-lower": "Heel, lower",
         "calf-upper": "Calf, upper", "calf-lower": "Calf, lower"}


def row_of(hand, mark):
    rows = (e for e in hand.elements() if e["name"].startswith(NAMES[mark]) and e["role"] in window.CONTROLS)
    return next((e for e in rows if hand.seen(e)), None)


def mark(hand):
    """Every mark in two photographs, by hand; the program moves each tap to the ink."""
    if not hand.photograph(hand.elements()):
        hand.touch("Check")
        hand.touch("Marks")
    marks = json.loads((ROOT / "demo-data/left/marks.json").read_text())["marks"]
    views = dict.fromkeys(NAMES, 0)
    for n in range(len(PHOTOS)):
        photo = hand.until(hand.photograph, "a photograph")["name"].removeprefix("Photograph ")
        # The picture itself comes a little after its name; there is nothing to tap on before.
        time.sleep(1.5)
        for m in (m for m in marks if m["photo"] == photo and views.get(m["mark"], 2) < 2):
            row = row_of(hand, m["mark"])
            if row:
                hand.touch_at(row["x"] + row["width"] / 2, row["y"] + row["height"] / 2)
                chosen = lambda _: (now := row_of(hand, m["mark"])) and now["checked"]
                hand.until(chosen, f"{m['mark']} in hand")
                hand.settled()
                hand.tap_photo((m["x"], m["y"]), sizes(photo))
                views[m["mark"]] += 1
        hand.picture(f"07-marks-{n + 1}")
        hand.touch("Next photograph")
        hand.until(lambda all: (p := hand.photograph(all)) and not p["name"].endswith(photo), "the next photograph")
    print("views of each mark:", views)
    hand.touch("Results")


def sizes(photo):
    command = ["identify", "-format", "%w %h", str(ROOT / "demo-data/left" / photo)]
    return tuple(map(int, subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()))


def check(hand):
    hand.touch("Check")
    hand.until(lambda all: hand.find("Keep this cast", all), "the results")
    hand.picture("08-check")
    hand.touch("Keep this cast")
    hand.until(lambda all: hand.find("Fill from the measurement", all), "the order")


# What stands in the way of signing, answered; a number is how often "More" is touched.
ORDER = {"Plantarflexion": "free", "Dorsiflexion": "assisted", "Dorsiflexion assist": "medium", "Hinge on": "both sides",
         "Ankle angle on the bench": "as cast", "Hinge line": "through the patient's own marks",
         "Calf band's upper edge from the floor": 66, "Rearfoot post": "none", "Forefoot": "none", "Heel skive": "none",
         "Shoe, heel to ball drop": 2, "Straps": "calf", "Hinge": "invented hinge", "Hinge size": "M", "Lab": "Kiln Row Workshop",
         "The cast afterwards": "return the cast", "Quantity": 1}


def on(hand):
    """On to the next field that is still to be answered, or to the next one."""
    hand.touch("Next to answer", "Next field")


def order(hand):
    hand.touch("Order")
    hand.picture("09-order")
    for _ in range(6 * len(ORDER)):
        if hand.find("Sign as Ines Calloway"):
            break
        texts = [e["name"] for e in hand.elements() if e["role"] == "Text"]
        title = next((t for t in texts if t in ORDER), None)
        answer = ORDER.get(title)
        written = next((e["name"] for e in hand.elements() if e["role"] == "TextInput"), None)
        dial = any(e["role"] == "Spinbox" for e in hand.elements())
        if written:
            hand.type(written, answer or "as agreed")
            on(hand)
        elif dial:
            hand.touch("More", times=answer or 3)
            on(hand)
        else:
            # Of a question that is not listed above the first choice is taken.
            choices = [e["name"] for e in hand.elements() if e["role"] == "RadioButton" and not e["description"] and hand.seen(e)]
            assert answer or choices, f"nobody said what to answer: {texts}"
            hand.touch(answer or choices[0])
            if title == "Straps":
                on(hand)
    hand.picture("09-order-answered")
    hand.touch("Sign as Ines Calloway")
    hand.picture("09-order-signed")


def label(hand):
    hand.touch("Label")
    hand.touch("Bind the photographed label")
    hand.picture("10-label")


def hand_over(hand):
    hand.touch("Hand over")
    hand.touch("Write the papers")
    hand.until(lambda all: not any(e["name"] == "not written yet" for e in all), "the papers")
    hand.picture("11-hand-over")


def follow(hand):
    """From the hand-over to the fitting; an order that nobody may sign yet ends before."""
    hand.touch("Follow up")
    if not hand.has("It has left for the lab"):
        hand.picture("12-not-signed")
        return
    hand.touch("It has left for the lab")
    hand.touch("Record it")
    hand.touch("The lab's answer")
    hand.touch("accepted")
    hand.touch("Record it")
    hand.touch("Fitting")
    hand.touch("More", times=8)
    hand.touch("Next")
    hand.touch("navicular")
    hand.picture("12-fitting")


STEPS = [person, examine, position, cast, take, mark, check, order, label, hand_over, follow]


@pytest.mark.parametrize("width,height", SIZES)
def test_a_whole_visit_in_the_real_window(tmp_path, width, height):
    screen = Screen(width, height)
    hand = Hand(screen, tmp_path, ROOT / f"build-output/screens/{width}x{height}")
    try:
        hand.open()
        first_start(hand)
        for step in STEPS:
            step(hand)
        if hand.has("Record it"):
            hand.touch("Record it")
        hand.picture("12-follow-up")
        hand.touch("History")
        hand.picture("13-history")
        hand.touch("Back to the visit")
        print(f"\n{width}x{height}: {hand.touches} touches, marking with every tap by hand")
        # The same screens with the largest text.
        hand.touch("Settings")
        hand.picture("14-settings")
        hand.touch("150 %")
        hand.picture("15-settings-150")
        hand.touch("All visits")
        hand.picture("16-cases-150")
        entry = next(e for e in hand.elements() if e["name"].endswith(", Left") and e["role"] == "Button")
        hand.touch(entry["name"])
        for i, name in enumerate(SCREENS):
            hand.touch(name)
            hand.picture(f"{17 + i}-{name.lower().replace(' ', '-')}-150")
        hand.touch("History")
        hand.picture("26-history-150")
    finally:
        hand.close()
        screen.close()


def offered(elements):
    return next((e for e in elements if e["name"].startswith("Take up again: ")), None)


def go(hand, step):
    """Touches a step until its screen is there: what moves under the pointer is touched again. For wet
    hands most steps are one touch further away."""
    there = lambda all: any(e["name"] == step and e["selected"] for e in all)
    for _ in range(3):
        if not hand.find(step):
            hand.touch("All steps")
        hand.touch(step)
        start = time.monotonic()
        while time.monotonic() - start < 5:
            if there(hand.elements()):
                return hand.settled()
            time.sleep(0.03)
    hand.until(there, f"the screen {step}", 1)


def said(hand):
    """What the screen says of the work: how far each step has come, each answer in its list."""
    told = {}
    for step in SCREENS:
        go(hand, step)
        for e in hand.elements():
            if e["role"] == "RadioButton" and e["description"]:
                told[step, e["name"]] = e["description"]
            elif e["role"] == "Tab":
                # Looking at the order fills it: how far the steps have come is read last.
                told["step", e["name"]] = e["description"]
    return told


def test_nothing_entered_is_lost_when_the_power_goes_in_any_step(tmp_path):
    """Killed in the middle of each step; reopened, the work is offered and whole."""
    screen = Screen(1280, 800)
    hand = Hand(screen, tmp_path, ROOT / "build-output/screens/killed")
    kills, entries = 0, []
    try:
        hand.open()
        first_start(hand)
        for step in STEPS:
            step(hand)
            before = said(hand)
            hand.kill()
            kills += 1
            hand.open()
            unlock(hand)
            work = hand.until(offered, f"recovery after {step.__name__}")
            hand.picture(f"{step.__name__}-offered")
            count = next(e["name"] for e in hand.elements() if " entr" in e["name"] and "last entry" in e["name"])
            entries.append(int(count.split()[0]))
            hand.touch(work["name"])
            after = said(hand)
            lost = {k: (v, after.get(k)) for k, v in before.items() if after.get(k) != v}
            assert not lost, f"after the kill in {step.__name__}: {lost}"
    finally:
        hand.close()
        screen.close()
    print(f"\n{kills} kills, one in the middle of each step: recovery offered {len(entries)} times with {entries} entries, "
          f"no answer lost")
    assert entries == sorted(entries) and len(entries) == len(STEPS)
