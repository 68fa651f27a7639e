"""Other people's targets are not quite as published: where held-out tags miss 1 part in 2000, is it the
program or the target? A SciPy bundle adjustment (`free_target.py`) lets the target's own sizes go free.

A grid on a screen, five phone photographs: aprilgrid-py (BSD-3). Corner sets of a moving board before
two cameras: yac (MIT)."""

import csv

import numpy as np
import pytest
from conftest import data
from free_target import FreeTarget, edges_of_a_grid, every_corner
from test_held_out import HELD, TAG_MM, apart, corner_set, grid, judge, measure, split


def seen(photo, without=()):
    """A photograph's corners by number: four to a tag, from the top left."""
    tags = (t for t in photo["tags"] if t["id"] not in without)
    return {4 * t["id"] + k: px for t in tags for k, px in enumerate(t["corners_px"])}


def flat_list(target):
    return np.concatenate([target[i] for i in sorted(target)])


def on_screen(photos, moves=None, without=()):
    size = photos[0]["width"], photos[0]["height"]
    fit = FreeTarget([seen(p, without) for p in photos], flat_list(grid(TAG_MM)), size, photos[0]["exif_focal_px"], moves=moves)
    fit.fit()
    return fit


@pytest.fixture
def screen(program):
    folder = data("tags") / "aprilgrid-py/example/data"
    return program.detect(sorted(folder.glob("*.jpg")), program.mat(grid(TAG_MM), border_bits=2))


def test_the_screens_grid_is_uneven(screen):
    """Twenty sizes of the grid, its edges, explain much of what the published grid leaves, and two
    photographs see the same edges off as the three others: they are the screen's, not a lens's. A
    screen draws on whole pixels."""
    published, edges = on_screen(screen), on_screen(screen, edges_of_a_grid())
    off = edges.free.reshape(2, -1)
    print(f"\ncorners scatter by {published.sd_px:.2f} px from the published grid, {edges.sd_px:.2f} px with its edges free; "
          f"these lie {np.sqrt((off**2).mean(1)).round(3)} mm off across and along")
    assert edges.sd_px < 0.75 * published.sd_px
    first, second = (on_screen(part, edges_of_a_grid()).free for part in (screen[:2], screen[2:]))
    alike = np.corrcoef(first, second)[0, 1]
    print(f"edges from two photographs and from the other three: correlation {alike:.2f}")
    assert alike > 0.8


@pytest.mark.parametrize("held", [HELD, {8, 9, 13, 16, 19, 26}])
def test_held_out_tags_on_the_screens_own_edges(program, screen, held):
    """The edges come from the other tags alone, so the held-out ones judge them: on the screen's own
    grid they come back within 1 in 2000, on the published one they do not."""
    published = grid(TAG_MM)
    moved = on_screen(screen, edges_of_a_grid(), without=held).corners().reshape(36, 4, 3)
    kept, marks = split(screen, held, 0.3)
    shares = []
    for title, target in [("published grid", published), ("the screen's own edges", dict(enumerate(moved)))]:
        found = measure(program, program.mat(target, border_bits=2), marks, kept)
        rms, size, cover = judge(found, target, title, 0)
        shares.append(size / rms)
    assert shares[1] > 2000 > shares[0]
    assert cover > 0.9


def board(camera):
    """Every view of a camera: corners by number from the top left, and the published target, mm."""
    photos, target = [], {}
    for path in sorted((data("tags") / "yac-euroc/cam_april" / camera).glob("*.csv")):
        photo = {}
        for row in csv.reader(path.open()):
            if not row[0].startswith("#"):
                number = 4 * int(row[10]) + (3, 2, 1, 0)[int(row[11])]
                photo[number] = [float(row[5]) + 0.5, float(row[6]) + 0.5]
                target[number] = [1e3 * float(v) for v in row[7:10]]
        photos.append(photo)
    return photos, target


def laid_on(points, target):
    """Points moved and turned onto the target."""
    a, b = points.mean(0), target.mean(0)
    u, _, v = np.linalg.svd((points - a).T @ (target - b))
    turn = (u * [1, 1, np.sign(np.linalg.det(u @ v))]) @ v
    return (points - a) @ turn + b


def test_two_cameras_see_the_same_board_uneven():
    """Each camera alone, its own thirty views, every corner of the board free: what one finds off the
    other finds off too, though they share no picture."""
    views = {camera: board(camera) for camera in ("cam0", "cam1")}
    drawn = {**views["cam0"][1], **views["cam1"][1]}
    target = np.array([drawn[i] for i in range(144)])
    off = {}
    for camera, (photos, _) in views.items():
        moves, sd = every_corner(target), np.tile([0.3, 0.3, 0.5], 144)
        fit = FreeTarget(photos, target, (752, 480), 458, fisheye=True, moves=moves, moves_sd=sd)
        fit.fit()
        off[camera] = laid_on(fit.corners(), target) - target
    alike = [np.corrcoef(off["cam0"][:, k], off["cam1"][:, k])[0, 1] for k in range(2)]
    size = [np.sqrt((o[:, :2] ** 2).mean()) for o in off.values()]
    print(f"\nthe board's corners lie {np.round(size, 3)} mm off in its plane by each camera, correlation {np.round(alike, 2)}")
    assert min(alike) > 0.7


@pytest.mark.parametrize("camera", ["cam0", "cam1"])
def test_no_other_adjustment_brings_the_boards_outer_tags_nearer(program, camera):
    """The grid's own corner tags, at the pictures' edges in eight views of a second and a half: SciPy's
    adjustment on the same corners, with one to three radial terms, comes no nearer to 1 in 2000."""
    held = {0, 5, 15, 20, 30, 35}
    target = grid(88.0)
    views = corner_set(camera)
    kept, marks = split(views, held, 0.1)
    found = program.measure(program.mat(target, border_bits=2), marks, kept, min_rays_deg=1)
    rms, size, cover = judge(found, target, f"yac {camera}, outer tags", 0)
    theirs = []
    for radial_terms in (1, 2, 3):
        photos = [seen(v, held) for v in views]
        fit = FreeTarget(photos, flat_list(target), (752, 480), 458, fisheye=True, radial_terms=radial_terms)
        fit.fit()
        points, truth = [], []
        for number, place in enumerate(fit.target):
            photos_of = {i: v[number] for i, v in enumerate(map(seen, views)) if number in v}
            if number // 4 in held and len(photos_of) > 1:
                points.append(fit.place(photos_of, place))
                truth.append(place)
        off = apart(np.array(points)) - apart(np.array(truth))
        theirs.append(size / np.sqrt((off**2).mean()))
    print(f"SciPy with 1, 2 and 3 radial terms: 1 in {np.round(theirs)}")
    assert size / rms > 0.95 * max(theirs)
    assert cover > 0.9
