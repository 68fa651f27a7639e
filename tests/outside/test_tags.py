"""Tags found and where their corners lie, against the AprilTag library and OpenCV."""

import functools

import cv2
import numpy as np
import pytest
from conftest import data
from pupil_apriltags import Detector


@functools.cache
def library(decimate):
    """The AprilTag library's detector; kept, since giving it up crashes Python."""
    return Detector("tag36h11", nthreads=2, quad_decimate=decimate)


def one_bit_photographs():
    grid = data("tags") / "AprilTags.jl/data"
    desk = data("tags") / "pupil-apriltags/test"
    return [grid / "CameraCalibration/taggridphoto.jpg", grid / "tagtest.jpg", *sorted(desk.glob("*.png"))]


def two_bit_photographs():
    return sorted((data("tags") / "aprilgrid-py/example/data").glob("*.jpg")), sorted(
        (data("tags") / "yac-euroc/stereo").glob("*.png")
    )


def opencv(grey, border_bits=1, refine=cv2.aruco.CORNER_REFINE_NONE):
    parameters = cv2.aruco.DetectorParameters()
    parameters.markerBorderBits = border_bits
    parameters.cornerRefinementMethod = refine
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(grey)
    return {} if ids is None else {int(i): c.reshape(4, 2) for i, c in zip(ids.ravel(), corners)}


def ours(program, photos, mat=None):
    return [
        {tag["id"]: np.array(tag["corners_px"]) for tag in photo["tags"]} for photo in program.detect(photos, mat)
    ]


def anything_two_bits_wide(program):
    """A mat file whose only use is its border."""
    square = np.array([[0, 1], [1, 1], [1, 0], [0, 0]]) * 20.0
    return program.mat({i: square + 30 * np.array([i % 6, i // 6]) for i in range(36)}, border_bits=2)


def test_no_tag_is_missed_that_others_find(program):
    photos = one_bit_photographs()
    totals = np.zeros(3, int)
    for path, found in zip(photos, ours(program, photos)):
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        theirs = {tag.tag_id for d in (1.0, 2.0) for tag in library(d).detect(grey)}
        common = set(opencv(grey))
        assert theirs <= set(found) and common <= set(found), path.name
        totals += [len(found), len(theirs), len(common)]
    print(f"\n{len(photos)} photographs: {totals[0]} tags here, AprilTag library {totals[1]}, OpenCV {totals[2]}")


def test_no_wide_bordered_tag_is_missed_that_opencv_finds(program):
    phone, stereo = two_bit_photographs()
    found = ours(program, phone + stereo, anything_two_bits_wide(program))
    counts = [len(tags) for tags in found]
    for path, tags in zip(phone + stereo, found):
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        assert set(opencv(grey, border_bits=2)) <= set(tags), path.name
    print(f"\ntags with a border of two cells: {counts}")
    # The numbers of tags in view, counted in the photographs.
    assert counts[:5] == [36, 36, 36, 36, 21]


def test_half_pixel_and_corner_order_of_the_library(program):
    """The library's corners run from the bottom left against ours and share our pixel centre
    (0.5, 0.5)."""
    off = []
    photos = one_bit_photographs()
    for path, found in zip(photos, ours(program, photos)):
        for tag in library(1.0).detect(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)):
            off.append(found[tag.tag_id] - tag.corners[[3, 2, 1, 0]])
    off = np.concatenate(off)
    distance = np.median(np.hypot(*off.T))
    print(f"\nagainst the AprilTag library: mean {off.mean(0)}, median distance {distance:.3f} px")
    assert distance < 0.15
    assert np.abs(np.median(off, 0)).max() < 0.05


def test_which_way_is_up_and_half_pixel_of_opencv(program):
    """OpenCV draws the same tags turned by 180° and puts a pixel's centre at (0, 0)."""
    off, unturned = [], []
    photos = one_bit_photographs()
    for path, found in zip(photos, ours(program, photos)):
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        for tag, corners in opencv(grey, refine=cv2.aruco.CORNER_REFINE_SUBPIX).items():
            off.append(found[tag] - np.roll(corners, 2, axis=0))
            unturned.append(found[tag] - corners)
    off = np.concatenate(off)
    print(f"\nagainst OpenCV: median {np.median(off, 0)}")
    assert np.abs(np.median(off, 0) - 0.5).max() < 0.1
    assert np.median(np.hypot(*np.concatenate(unturned).T)) > 10, "a tag the other way up must show"


def test_border_width_a_right_id_is_no_proof_of_right_corners(program):
    """OpenCV's default border reads the ids of a grid with a border of two cells, with corners too
    far in; asked for two cells it agrees with ours; the AprilTag library reads almost none."""
    phone, _ = two_bit_photographs()
    found = ours(program, phone, anything_two_bits_wide(program))
    inward, agreeing, by_default, by_library = [], [], 0, 0
    for path, tags in zip(phone, found):
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        by_library += len(library(2.0).detect(grey))
        for tag, corners in opencv(grey).items():
            by_default += 1
            right = tags[tag]
            size = np.linalg.norm(right[0] - right[2])
            inward.append(1 - np.linalg.norm(corners[0] - corners[2]) / size)
        for tag, corners in opencv(grey, 2, cv2.aruco.CORNER_REFINE_SUBPIX).items():
            agreeing.append(tags[tag] - 0.5 - np.roll(corners, 2, axis=0))
    agreeing = np.concatenate(agreeing)
    share = np.median(inward)
    print(f"\nOpenCV's default border: {by_default} ids, corners {100 * share:.1f} % of the diagonal too far in; "
          f"AprilTag library {by_library} tags; OpenCV with two cells off by {np.median(agreeing, 0)} px")
    assert by_library <= 5
    assert share > 0.03
    assert np.abs(np.median(agreeing, 0)).max() < 0.15


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_ids_and_corners_turn_with_the_photograph(program, turn, tmp_path):
    path = data("tags") / "pupil-apriltags/test/test_image_multiple_06.png"
    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    turned = np.rot90(grey, -turn // 90)
    cv2.imwrite(str(tmp_path / "turned.png"), turned)
    upright, found = ours(program, [path, tmp_path / "turned.png"])
    height, width = grey.shape
    for tag, corners in upright.items():
        x, y = corners.T
        expected = {90: (height - y, x), 180: (width - x, height - y), 270: (y, width - x)}[turn]
        assert np.abs(found[tag] - np.array(expected).T).max() < 0.15
