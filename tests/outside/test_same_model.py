"""Poses and points against OpenCV and SciPy on the same detections."""

import cv2
import numpy as np
from same_model import SameModel
from scene import C, F, K, mark_points, mat_corners, photographs
from scipy.spatial.transform import Rotation


def camera_from_mat(camera):
    inverse = np.linalg.inv(np.array(camera["mat_from_camera"]))
    return inverse[:3, :3], inverse[:3, 3]


def test_exact_detections_give_opencvs_poses_and_points(program):
    """Without noise the priors pull at nothing: solvePnP with the true lens, then
    triangulatePoints from two photographs, must agree with the whole estimate."""
    photos, taps = photographs(noise_px=0, tap_px=0)
    found = program.measure(program.mat(mat_corners()), taps, photos)
    matrix, lens = np.array([[F, 0, C[0]], [0, F, C[1]], [0, 0, 1]]), np.array([K[0], K[1], 0, 0, 0])
    mats = mat_corners()
    poses = []
    for photo, camera in zip(photos, found["cameras"]):
        world = np.concatenate([mats[t["id"]] for t in photo["tags"]])
        image = np.concatenate([t["corners_px"] for t in photo["tags"]])
        _, turn, shift = cv2.solvePnP(world, image, matrix, lens)
        turn, shift = cv2.solvePnPRefineLM(world, image, matrix, lens, turn, shift)
        ours_turn, ours_shift = camera_from_mat(camera)
        theirs = Rotation.from_rotvec(turn.ravel())
        angle = (Rotation.from_matrix(ours_turn) * theirs.inv()).magnitude()
        assert np.degrees(angle) < 2e-3 and np.abs(shift.ravel() - ours_shift).max() < 0.05
        poses.append(np.hstack([theirs.as_matrix(), shift]))
    off = []
    for point in found["points"]:
        first, second = ([px for m, p, px, _ in taps if m == point["mark"] and p == f"{i}.jpg"][0] for i in (0, 2))
        rays = [cv2.undistortPoints(px.reshape(1, 1, 2), matrix, lens).reshape(2, 1) for px in (first, second)]
        world = cv2.triangulatePoints(poses[0], poses[2], *rays)
        sd = np.array(point["instrument_sd_mm"])
        off.append(np.abs(np.array(point["mat_mm"]) - (world[:3] / world[3]).ravel()) / sd)
        assert np.abs(np.array(point["mat_mm"]) - mark_points()[point["mark"]]).max() < 0.02
    print(f"\nworst difference from triangulatePoints: {np.max(off):.4f} sd")
    assert np.max(off) < 0.05


def test_noisy_detections_give_scipys_points(program):
    """The same model fitted by SciPy; differences as shares of the stated sd, and the sds."""
    photos, taps = photographs(noise_px=0.06, tap_px=1.5)
    found = program.measure(program.mat(mat_corners()), taps, photos)
    model = SameModel(mat_corners(), photos, taps, f_start=1.2 * 3000)
    poses, _, _, marks, covariance = model.fit()
    worst, ratios = 0.0, []
    for point in found["points"]:
        i = model.marks.index(point["mark"])
        sd = np.array(point["instrument_sd_mm"])
        worst = max(worst, np.abs((np.array(point["mat_mm"]) - marks[i]) / sd).max())
        ratios.append(sd / np.sqrt(np.diag(covariance)[3 * i : 3 * i + 3]))
    for camera, pose in zip(found["cameras"], poses):
        turn, shift = camera_from_mat(camera)
        theirs = Rotation.from_rotvec(pose[:3])
        centre = -theirs.inv().apply(pose[3:]) + model.middle
        # Autofocus and stabiliser leave a camera's own place open by millimetres along its axis, and
        # SciPy stops a little short in that direction; the points do not move with it.
        assert np.linalg.norm(centre - (-turn.T @ shift)) < 2
    ratios = np.array(ratios)
    print(f"\nSciPy: points differ by at most {worst:.4f} sd; ratio of the sds {ratios.min():.4f} to {ratios.max():.4f}")
    assert worst < 0.05
    assert np.abs(ratios - 1).max() < 0.02
