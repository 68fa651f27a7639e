"""A bundle adjustment by SciPy's linear algebra in which the target itself may be free: how far do its
corners lie from where it was published, and what is left when they may lie elsewhere? Written apart
from the project's estimate: one lens without priors on autofocus or stabiliser, OpenCV's start."""

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

ROBUST = 2.385  # Cauchy, 95 % efficient
LENS = ["ln f", "cx", "cy", "k1", "k2", "k3", "p1", "p2", "ln pixel shape"]
LENS_SD = np.array([np.inf, np.inf, np.inf, 0.5, 0.5, 0.5, 0.02, 0.02, 0.02])


class FreeTarget:
    """`photos` are {corner number: (x, y) px}, `target` its corners in mm, n × 3. `moves` says what may
    move: an n × 3 × m array, the corners' shift by each of m free sizes, with their prior `moves_sd`."""

    def __init__(self, photos, target, size_px, f_px, fisheye=False, moves=None, moves_sd=np.inf, radial_terms=3):
        self.target, self.fisheye = target, fisheye
        self.lens_sd = LENS_SD.copy()
        self.lens_sd[3 + radial_terms : 6] = 1e-9
        self.photo = np.concatenate([np.full(len(p), i) for i, p in enumerate(photos)])
        self.corner = np.concatenate([list(p) for p in photos]).astype(int)
        self.px = np.concatenate([list(p.values()) for p in photos])
        self.moves = np.zeros((*target.shape, 0)) if moves is None else moves
        self.moves_sd = np.broadcast_to(moves_sd, self.moves.shape[2:]).astype(float)
        self.free = np.zeros(self.moves.shape[2])
        self.lens = np.array([np.log(f_px), *np.array(size_px) / 2, 0, 0, 0, 0, 0, 0])
        self.poses = np.array([self.start(p) for p in photos])

    def start(self, photo):
        ids = np.array(list(photo))
        n = (np.array(list(photo.values())) - self.lens[1:3]) / np.exp(self.lens[0])
        if self.fisheye:
            angle = np.linalg.norm(n, axis=1, keepdims=True)
            n = n / angle * np.tan(angle)
        _, turn, shift = cv2.solvePnP(self.target[ids], n, np.eye(3), None)
        return np.concatenate([turn.ravel(), shift.ravel()])

    def project(self, points, poses, lens):
        q = Rotation.from_rotvec(poses[:, :3]).apply(points) + poses[:, 3:]
        n = q[:, :2] / q[:, 2:]
        if self.fisheye:
            r = np.linalg.norm(n, axis=1, keepdims=True)
            n = n * np.arctan(r) / r
        (x, y), r2 = n.T, (n**2).sum(1)
        radial = 1 + r2 * (lens[3] + r2 * (lens[4] + r2 * lens[5]))
        u = radial * x + 2 * lens[6] * x * y + lens[7] * (r2 + 2 * x * x)
        v = radial * y + lens[6] * (r2 + 2 * y * y) + 2 * lens[7] * x * y
        f = np.exp(lens[0] + np.array([0.5, -0.5]) * lens[8])
        return np.column_stack([u, v]) * f + lens[1:3]

    def corners(self):
        """Where the target's corners lie, mm."""
        return self.target + self.moves @ self.free

    def columns(self):
        """Residuals and their derivatives by lens, poses and what moves, by differences."""
        points, poses = self.corners()[self.corner], self.poses[self.photo]
        seen = self.project(points, poses, self.lens)
        by = lambda moved, step: (moved - seen) / step
        columns = []
        for i in range(len(self.lens)):
            lens, step = self.lens.copy(), 1e-3 if i in (1, 2) else 1e-6
            lens[i] += step
            columns.append(by(self.project(points, poses, lens), step)[..., None])
        own = np.zeros((*seen.shape, self.poses.size))
        for k in range(6):
            moved, step = poses.copy(), 1e-6 if k < 3 else 1e-3
            moved[:, k] += step
            own[np.arange(len(seen)), :, 6 * self.photo + k] = by(self.project(points, moved, self.lens), step)
        by_point = np.stack([by(self.project(points + 1e-3 * axis, poses, self.lens), 1e-3) for axis in np.eye(3)], 2)
        columns += [own, by_point @ self.moves[self.corner]]
        return self.px - seen, np.concatenate(columns, 2)

    def fit(self, steps=25):
        """Gauss-Newton with Cauchy weights; returns the robust sd of a corner coordinate, px."""
        precision = np.concatenate([self.lens_sd, np.full(self.poses.size, np.inf), self.moves_sd]) ** -2.0
        for _ in range(steps):
            residual, jacobian = self.columns()
            distance = np.linalg.norm(residual, axis=1)
            self.sd_px = np.median(distance) / 1.1774
            weight = 1 / (1 + (distance / (ROBUST * self.sd_px)) ** 2) / self.sd_px**2
            weighted = jacobian * weight[:, None, None]
            now = np.concatenate([self.lens, np.zeros(self.poses.size), self.free])
            normal = np.einsum("nki,nkj->ij", weighted, jacobian, optimize=True) + np.diag(precision)
            pull = np.einsum("nki,nk->i", weighted, residual) - precision * now
            step = np.linalg.solve(normal, pull)
            lens, poses, free = np.split(step, np.cumsum([len(self.lens), self.poses.size]))
            self.lens, self.free = self.lens + lens, self.free + free
            self.poses = self.poses + poses.reshape(-1, 6)
            if np.abs(step * np.sqrt(np.diag(normal))).max() < 1e-3:
                break
        return self.sd_px

    def place(self, seen, start):
        """A point seen as {photo number: px}, from `start`, mm; the cameras held."""
        poses, px, point = self.poses[list(seen)], np.array(list(seen.values())), np.array(start)
        look = lambda p: self.project(np.tile(p, (len(px), 1)), poses, self.lens)
        for _ in range(10):
            residual = px - look(point)
            by_point = np.stack([(look(point + 1e-3 * axis) - look(point)) / 1e-3 for axis in np.eye(3)], 2)
            weight = 1 / (1 + (np.linalg.norm(residual, axis=1) / (2 * ROBUST * self.sd_px)) ** 2)
            weighted = (by_point * weight[:, None, None]).reshape(-1, 3)
            point = point + np.linalg.lstsq(weighted, (residual * weight[:, None]).ravel(), rcond=None)[0]
        return point


def every_corner(target):
    """Every coordinate of every corner free."""
    return np.eye(target.size).reshape(*target.shape, target.size)


def edges_of_a_grid(count=6):
    """The grid's own lines free: the left and right edges of each column, the bottom and top ones of
    each row. Corners run from the top left, ids along rows from the bottom left. The first edge of
    each axis and the last stay, which fixes place and size."""
    moves = np.zeros((4 * count**2, 3, 4 * count))
    for tag in range(count**2):
        column, row = tag % count, tag // count
        for k, (right, top) in enumerate([(0, 1), (1, 1), (1, 0), (0, 0)]):
            moves[4 * tag + k, 0, 2 * column + right] = 1
            moves[4 * tag + k, 1, 2 * count + 2 * row + top] = 1
    ends = [0, 2 * count - 1, 2 * count, 4 * count - 1]
    return np.delete(moves, ends, axis=2)
