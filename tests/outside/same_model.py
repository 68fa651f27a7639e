"""The project's estimate by SciPy: the same parameters, priors and variances, written anew from its
published description (cameras that share a lens, autofocus, stabiliser, stretched and bowed paper),
with numeric derivatives and dense algebra."""

import cv2
import numpy as np
from scipy.optimize import least_squares
from scipy.optimize._numdiff import approx_derivative
from scipy.spatial.transform import Rotation

LN_F, AUTOFOCUS, STABILISER_PX, CENTRE_SHARE, RADIAL, BOW_MM, HEIGHT_MM = 0.3, 0.015, 20, 0.02, 0.2, 1, 0.2
ASPECT = 2**0.5 * 1e-5  # both check bars known to 0.001 mm in 100 mm


class SameModel:
    def __init__(self, mat_mm, photos, taps, f_start):
        self.ids = sorted(mat_mm)
        corners = np.array([mat_mm[i] for i in self.ids])
        flat = corners.reshape(-1, 3)
        self.middle = (flat.min(0) + flat.max(0)) / 2
        self.drawn = corners
        self.uv = (corners - self.middle)[..., :2] / (np.ptp(flat[:, :2], axis=0).max() / 2)
        self.shots = len(photos)
        self.size = max(photos[0]["width"], photos[0]["height"])
        self.centre = np.array([photos[0]["width"], photos[0]["height"]]) / 2
        self.f_start = f_start
        seen = [(s, self.ids.index(t["id"]), t["corners_px"]) for s, p in enumerate(photos) for t in p["tags"]]
        self.corner_shot = np.array([s for s, _, _ in seen])
        self.corner_tag = np.array([t for _, t, _ in seen])
        self.corner_px = np.array([px for _, _, px in seen])
        names = [p["photo"] for p in photos]
        self.marks = sorted({m for m, *_ in taps})
        self.tap_shot = np.array([names.index(p) for _, p, _, _ in taps])
        self.tap_mark = np.array([self.marks.index(m) for m, *_ in taps])
        self.tap_px = np.array([px for _, _, px, _ in taps])
        self.tap_sd = np.array([sd for *_, sd in taps])
        self.sd_px = np.full(self.shots, 0.05)
        self.height_sd, self.tap_factor = HEIGHT_MM, 1.0

    def unpack(self, v):
        s, t = self.shots, len(self.ids)
        parts = np.split(v, np.cumsum([6 * s, 3 * s, 5, 4, t]))
        return parts[0].reshape(s, 6), parts[1].reshape(s, 3), *parts[2:5], parts[5].reshape(-1, 3)

    def start(self):
        """Homographies by OpenCV's solvePnP, marks in the middle of the mat, 50 mm up."""
        poses = []
        for shot in range(self.shots):
            mine = self.corner_shot == shot
            matrix = np.array([[self.f_start, 0, self.centre[0]], [0, self.f_start, self.centre[1]], [0, 0, 1]])
            world = (self.drawn - self.middle)[self.corner_tag[mine]].reshape(-1, 3)
            _, turn, shift = cv2.solvePnP(world, self.corner_px[mine].reshape(-1, 2), matrix, None)
            poses.append(np.concatenate([turn.ravel(), shift.ravel()]))
        lens = [np.log(self.f_start), *self.centre, 0, 0]
        nothing = np.zeros(3 * self.shots)
        marks = np.tile([0.0, 0, 50], (len(self.marks), 1))
        return np.concatenate([np.ravel(poses), nothing, lens, np.zeros(4 + len(self.ids)), marks.ravel()])

    def project(self, points, shot, poses, own, lens):
        turn = Rotation.from_rotvec(poses[:, :3]).as_matrix()[shot]
        p = np.einsum("n...ij,nj->ni", turn, points) + poses[shot, 3:]
        n = p[:, :2] / p[:, 2:]
        r2 = (n**2).sum(1, keepdims=True)
        f = np.exp(lens[0]) * (1 + own[shot, :1])
        return f * n * (1 + r2 * (lens[3] + lens[4] * r2)) + lens[1:3] + own[shot, 1:]

    def residuals(self, v):
        poses, own, lens, sheet, heights, marks = self.unpack(v)
        stretched = self.drawn * [1 + sheet[0] / 2, 1 - sheet[0] / 2, 1]
        u, w = self.uv[..., 0], self.uv[..., 1]
        stretched[..., 2] += sheet[1] * u * u + sheet[2] * u * w + sheet[3] * w * w + heights[:, None]
        world = (stretched - self.middle)[self.corner_tag].reshape(-1, 3)
        shot = np.repeat(self.corner_shot, 4)
        corners = (self.corner_px.reshape(-1, 2) - self.project(world, shot, poses, own, lens)) / self.sd_px[shot][:, None]
        taps = self.tap_px - self.project(marks[self.tap_mark], self.tap_shot, poses, own, lens)
        taps = taps / (self.tap_sd * np.sqrt(self.tap_factor))[:, None]
        centre_px = CENTRE_SHARE * 2 * self.centre.max()
        priors = [
            own[:, 0] / AUTOFOCUS,
            own[:, 1:].ravel() / STABILISER_PX,
            [(lens[0] - np.log(self.f_start)) / LN_F],
            (lens[1:3] - self.centre) / centre_px,
            lens[3:] / RADIAL,
            [sheet[0] / ASPECT],
            sheet[1:] / BOW_MM,
            heights / self.height_sd,
        ]
        return np.concatenate([corners.ravel(), taps.ravel(), *priors])

    def fit(self):
        v = self.start()
        for round in range(3):
            found = least_squares(self.residuals, v, x_scale="jac", method="trf", ftol=1e-12, xtol=1e-12, gtol=1e-12)
            v = found.x
            self.covariance = np.linalg.inv(found.jac.T @ found.jac)
            if round < 2:
                self.variances(found)
        poses, own, lens, *_ = self.unpack(v)
        by_all = approx_derivative(lambda v: self.over_paper(v).ravel(), v)
        return poses, own, lens, self.over_paper(v), by_all @ self.covariance @ by_all.T

    def over_paper(self, v):
        """The marks over the plane that fits the paper round them: a tag at distance d mm from a
        mark counts (1 + (d/50)²)⁻², summed over the marks."""
        *_, sheet, heights, marks = self.unpack(v)
        u, w = self.uv[..., 0], self.uv[..., 1]
        raised = (sheet[1] * u * u + sheet[2] * u * w + sheet[3] * w * w).mean(1) + heights
        centres = (self.drawn.mean(1) - self.middle)[:, :2]
        apart = np.linalg.norm(centres[:, None] - marks[None, :, :2], axis=2)
        weight = np.sqrt(((1 + (apart / 50) ** 2) ** -2).sum(1))
        middle = np.append(marks[:, :2].mean(0), 0)
        arms = np.column_stack([np.ones(len(centres)), centres - middle[:2]])
        plane = np.linalg.lstsq(arms * weight[:, None], raised * weight, rcond=None)[0]
        up = np.array([-plane[1], -plane[2], 1]) / np.sqrt(1 + plane[1] ** 2 + plane[2] ** 2)
        level = Rotation.from_rotvec(np.cross(up, [0, 0, 1]))
        return level.apply(marks - middle - [0, 0, plane[0]]) + middle + self.middle

    def variances(self, found):
        """σᵢ² = (rᵀr + 20σ²)/(2n − tr hat + 20) a photograph; likewise heights and taps."""
        hat = np.einsum("ij,jk,ik->i", found.jac, self.covariance, found.jac)
        n = 2 * self.corner_px.shape[0] * 4
        shot = np.repeat(self.corner_shot, 8)
        r = found.fun[:n] * self.sd_px[shot]
        squares = np.array([(r[shot == s] ** 2).sum() for s in range(self.shots)])
        free = np.array([(1 - hat[:n][shot == s]).sum() for s in range(self.shots)])
        pooled = squares.sum() / free.sum()
        taps = found.fun[n : n + 2 * len(self.tap_px)] * np.sqrt(self.tap_factor)
        dof = (1 - hat[n : n + 2 * len(self.tap_px)]).sum()
        heights = self.unpack(found.x)[4]
        at = 9 * self.shots + 9
        used = np.diag(self.covariance)[at : at + len(heights)].sum() / self.height_sd**2
        self.sd_px = np.sqrt((squares + 20 * pooled) / (free + 20))
        self.height_sd = np.sqrt(((heights**2).sum() + 4 * 0.1**2) / (max(len(heights) - used, 0) + 4))
        self.tap_factor = max((6 + (taps**2).sum()) / (6 + dof), 1)
