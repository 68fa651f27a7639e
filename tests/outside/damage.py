"""Photographs of a bag label with growing damage, rendered from the label's own picture."""

import cv2
import numpy as np

LEVELS = 8
SIDE = 640
# Growing blur, tilt, smear, crease, curvature, low contrast, missing area.
KINDS = ["blur", "tilt", "smear", "crease", "curvature", "contrast", "missing"]


def photograph(label, kind, level, seed):
    """A grey picture of `label` (grey, the code's module `module_px` wide) damaged by one kind."""
    random = np.random.default_rng([KINDS.index(kind), level, seed])
    picture, module_px = label
    share = level / (LEVELS - 1)
    turn, size = random.uniform(0, 2 * np.pi), random.uniform(4, 6) / module_px
    tilt, blur_px, noise, contrast = 0.2, 0.6, 4, 1.0
    surface = picture.astype(np.float32)
    if kind == "missing":
        surface = with_patches(surface, module_px, share, random)
    if kind == "curvature":
        surface = on_a_cylinder(surface, 0.15 + 1.15 * share)
    if kind == "tilt":
        tilt = np.deg2rad(12 + 63 * share)
    if kind == "blur":
        blur_px = 0.5 + 3.2 * share
    if kind == "contrast":
        contrast, noise = 0.6 * 0.05**share, 3
    photo = placed(surface, size, turn, tilt, random)
    if kind == "crease":
        photo = creased(photo, share, random)
    if kind == "smear":
        photo = cv2.filter2D(photo, -1, streak(1 + 17 * share, random.uniform(0, np.pi)), borderType=cv2.BORDER_REPLICATE)
    photo = cv2.GaussianBlur(photo, (0, 0), blur_px)
    photo = 140 + (photo - 140) * contrast + random.normal(0, noise, photo.shape)
    return np.clip(photo, 0, 255).astype(np.uint8)


def placed(surface, size, turn, tilt, random):
    """The surface turned, tilted about a level axis and seen by a pinhole, on a mottled ground."""
    height, width = (side * size for side in surface.shape)
    corners = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) / 2
    cos, sin = np.cos(turn), np.sin(turn)
    x, y = (corners @ np.array([[cos, sin], [-sin, cos]])).T
    nearness = 900 / (900 + y * np.sin(tilt))
    seen = np.stack([SIDE / 2 + x * nearness, SIDE / 2 + y * np.cos(tilt) * nearness], 1)
    source = np.array([[0, 0], [surface.shape[1], 0], surface.shape[::-1], [0, surface.shape[0]]])
    matrix = cv2.getPerspectiveTransform(source.astype(np.float32), seen.astype(np.float32))
    # Rendered four times as fine and averaged, as a camera's pixel does.
    fine = np.diag([4.0, 4.0, 1.0]) @ matrix
    shape = (4 * SIDE, 4 * SIDE)
    ground = cv2.resize(random.normal(150, 8, (40, 40)).astype(np.float32), shape, interpolation=cv2.INTER_CUBIC)
    drawn = cv2.warpPerspective(surface, fine, shape, flags=cv2.INTER_LINEAR)
    mask = cv2.warpPerspective(np.ones_like(surface), fine, shape, flags=cv2.INTER_LINEAR)
    photo = ground * (1 - mask) + drawn * mask
    return cv2.resize(photo, (SIDE, SIDE), interpolation=cv2.INTER_AREA)


def with_patches(surface, module_px, share, random):
    """Torn (white) and soiled (dark) patches over as much of the code as error correction may bear."""
    surface = surface.copy()
    # The code is the largest dark part of the upper half; patches fall anywhere within the symbol.
    top, left, side = symbol_place(surface, module_px)
    for _ in range(1 + round(12 * share)):
        r = random.uniform(1.2, 3.0) * module_px
        x, y = left + random.uniform(0, side), top + random.uniform(0, side)
        cv2.circle(surface, (round(x), round(y)), round(r), float(random.choice([25, 235])), -1)
    return surface


def symbol_place(surface, module_px):
    """Top, left and side of the symbol, from its dark pixels in whole modules: the densest square."""
    side = round(25 * module_px)
    dark = (surface < 128).astype(np.float32)
    density = cv2.boxFilter(dark, -1, (side, side), normalize=True, anchor=(0, 0), borderType=cv2.BORDER_CONSTANT)
    inside = density[: density.shape[0] - side, : density.shape[1] - side]
    top, left = np.unravel_index(np.argmax(inside), inside.shape)
    return top, left, side


def on_a_cylinder(surface, half_angle):
    """The surface bent about its upright axis over `half_angle` either side and seen from before it."""
    height, width = surface.shape
    radius = width / (2 * half_angle)
    out_width = round(2 * radius * np.sin(half_angle))
    x = (np.arange(out_width) + 0.5 - out_width / 2) / radius
    u = (np.arcsin(np.clip(x, -1, 1)) * radius + width / 2).astype(np.float32)
    # The sides lie further away: seen from a little above, they rise.
    rise = (1 - np.sqrt(np.clip(1 - x**2, 0, 1))) * radius * 0.35
    v = np.arange(height + int(rise.max()) + 1, dtype=np.float32)[:, None] - rise.astype(np.float32)
    return cv2.remap(surface, np.broadcast_to(u, v.shape).copy(), v, cv2.INTER_LINEAR, borderValue=255)


def creased(photo, share, random):
    """Folds: a bright or dark line, the far side shifted and in another light."""
    yy, xx = np.mgrid[0:SIDE, 0:SIDE].astype(np.float32)
    for _ in range(1 + round(5 * share)):
        angle, offset = random.uniform(0, np.pi), random.uniform(-60, 60)
        away = (xx - SIDE / 2) * np.cos(angle) + (yy - SIDE / 2) * np.sin(angle) - offset
        far = 1 / (1 + np.exp(-away / 2))
        shift = (far * random.uniform(-1, 1) * (1 + 4 * share)).astype(np.float32)
        moved = [(xx - shift * np.sin(angle)).astype(np.float32), (yy + shift * np.cos(angle)).astype(np.float32)]
        photo = cv2.remap(photo.astype(np.float32), *moved, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        photo = photo + far * random.uniform(-30, 30) + (40 + 120 * share) * random.choice([-1, 1]) * np.exp(-((away / 4) ** 2))
    return photo


def streak(length_px, angle):
    """Kernel of a straight movement."""
    size = 2 * int(np.ceil(length_px / 2)) + 3
    kernel = np.zeros((size, size), np.float32)
    for step in np.linspace(-0.5, 0.5, 8 * size):
        x = size // 2 + step * length_px * np.cos(angle)
        y = size // 2 + step * length_px * np.sin(angle)
        kernel[round(y), round(x)] += 1
    return kernel / kernel.sum()
