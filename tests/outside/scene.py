"""An invented mat, cast marks and cameras, projected: what `detect` would find, with its truth."""

import numpy as np
from scipy.spatial.transform import Rotation

SIZE = (4032, 3024)
F, C, K = 3000.0, np.array([2030.0, 1500.0]), (0.05, -0.02)


def mat_corners():
    """26 tags of 30 mm around the edge of an A3 sheet, by id: corners from the top left, mm."""
    tags = {}
    places = [(x, y) for x in range(8) for y in (0, 5)] + [(x, y) for x in (0, 7) for y in range(1, 5)]
    places += [(3.5, 0.9), (3.5, 4.1)]
    for i, (x, y) in enumerate(places):
        left, bottom = 15 + 51 * x, 12 + 48 * y
        tags[i] = np.array([[left, bottom + 30, 0], [left + 30, bottom + 30, 0], [left + 30, bottom, 0], [left, bottom, 0.0]])
    return tags


def mark_points(seed=4):
    random = np.random.default_rng(seed)
    low, high = np.array([110, 90, 10]), np.array([310, 200, 170])
    return {f"point-{i}": random.uniform(low, high) for i in range(12)}


def cameras(middle=(205, 145, 40)):
    """camera_from_mat of the four corners and two more, one turned a quarter turn."""
    poses = []
    views = [(135, 40, 0), (-135, 48, 0), (30, 32, 90), (-30, 55, 0), (80, 38, 0), (-80, 60, 180)]
    for azimuth, height, roll in views:
        a, h = np.radians([azimuth, height])
        away = np.array([np.cos(h) * np.cos(a), np.cos(h) * np.sin(a), np.sin(h)])
        forward = -away
        right = np.cross(forward, [0, 0, 1])
        right /= np.linalg.norm(right)
        turn = Rotation.from_euler("z", roll, degrees=True).as_matrix() @ np.array([right, np.cross(forward, right), forward])
        poses.append((turn, -turn @ (np.array(middle) + 640 * away)))
    return poses


def project(points, turn, shift, f=F, c=C, k=K):
    p = points @ np.asarray(turn).T + shift
    n = p[..., :2] / p[..., 2:]
    r2 = (n**2).sum(-1, keepdims=True)
    return f * n * (1 + r2 * (k[0] + k[1] * r2)) + c


def photographs(noise_px, tap_px, seed=1):
    """`detect`'s JSON, the taps, and each as drawn."""
    random = np.random.default_rng(seed)
    photos, taps = [], []
    for i, (turn, shift) in enumerate(cameras()):
        name = f"{i}.jpg"
        tags = []
        for tag, corners in mat_corners().items():
            px = project(corners, turn, shift) + noise_px * random.standard_normal((4, 2))
            if (px > 0).all() and (px < SIZE).all():
                tags.append({"id": tag, "corners_px": px.tolist()})
        photos.append({"photo": name, "width": SIZE[0], "height": SIZE[1], "orientation": 1, "tags": tags, "codes": []})
        for mark, point in mark_points().items():
            px = project(point[None], turn, shift)[0] + tap_px * random.standard_normal(2)
            taps.append((mark, name, px, 1.5))
    return photos, taps
