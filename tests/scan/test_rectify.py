"""Perspective against scikit-image's transforms on known homographies.

scikit-image (skimage.transform.ProjectiveTransform, warp, AffineTransform), BSD licence.
"""

from __future__ import annotations

import numpy as np
import pytest
from skimage.transform import ProjectiveTransform, downscale_local_mean, rotate

from tonewright.scan.rectify import (
    Placement,
    apply,
    fit_homography,
    from_step_one,
    shrink,
    through_four,
)

SHEET = np.array([[9.5, 9.5], [117.5, 9.5], [117.5, 168.3], [9.5, 168.3]])


def known(seed: int) -> np.ndarray:
    """A homography: any turn, either mirroring, perspective up to 1e-3 a mm, 10 pixels a mm."""
    rng = np.random.default_rng(seed)
    angle, flip = rng.uniform(-np.pi, np.pi), rng.choice([-1.0, 1.0])
    turn = np.array([[np.cos(angle) * flip, -np.sin(angle), 0],
                     [np.sin(angle) * flip, np.cos(angle), 0], [0, 0, 1]])
    matrix = np.diag([10.0, 10.0, 1.0]) @ turn
    matrix[:2, 2] = rng.uniform(500, 3000, 2)
    matrix[2, :2] = rng.uniform(-1e-3, 1e-3, 2)
    return matrix


@pytest.mark.parametrize("seed", range(8))
def test_points_go_where_skimage_sends_them(seed):
    matrix = known(seed)
    theirs = ProjectiveTransform(matrix)
    points = np.random.default_rng(seed).uniform(0, 180, (50, 2))
    ours = Placement(matrix)
    assert ours.to_scan(points) == pytest.approx(theirs(points), abs=1e-8)
    assert ours.to_print(theirs(points)) == pytest.approx(points, abs=1e-8)


@pytest.mark.parametrize("seed", range(8))
def test_four_points_give_the_homography_that_made_them(seed):
    images = ProjectiveTransform(known(seed))(SHEET)
    assert through_four(SHEET, images) == pytest.approx(known(seed), rel=1e-6, abs=1e-9)


def test_many_fours_at_once_are_the_same_as_one_by_one():
    images = np.stack([ProjectiveTransform(known(s))(SHEET) for s in range(5)])
    together = through_four(SHEET, images)
    for one, image in zip(together, images, strict=True):
        assert one == pytest.approx(through_four(SHEET, image), rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_a_fit_finds_the_homography_in_spite_of_noise_and_gross_errors(seed):
    """And no worse than skimage's own estimate from the good points alone."""
    rng = np.random.default_rng(seed)
    points = rng.uniform([5, 5], [122, 173], (44, 2))
    truth = ProjectiveTransform(known(seed))
    images = truth(points) + rng.normal(0, 0.3, points.shape)
    wrong = rng.choice(44, 5, replace=False)
    images[wrong] += rng.uniform(8, 20, (5, 2))
    start = through_four(SHEET, truth(SHEET) + rng.normal(0, 6, (4, 2)))
    matrix, _, used = fit_homography(points, images, start)
    assert not used[wrong].any() and used.sum() >= 36
    good = np.setdiff1d(np.arange(44), wrong)
    theirs = ProjectiveTransform.from_estimate(points[good], images[good]) if hasattr(
        ProjectiveTransform, "from_estimate") else _estimated(points[good], images[good])
    ours_off = np.abs(apply(matrix, SHEET) - truth(SHEET)).max()
    theirs_off = np.abs(theirs(SHEET) - truth(SHEET)).max()
    assert ours_off < 0.6 and ours_off < theirs_off + 0.25


def _estimated(points, images):
    transform = ProjectiveTransform()
    assert transform.estimate(points, images)
    return transform


@pytest.mark.parametrize("degrees", [-170.0, -90.0, -3.0, 0.0, 10.0, 90.0, 179.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_the_turn_is_said_clockwise_after_mirroring(degrees, mirrored):
    """A picture turned by skimage.transform.rotate (counter-clockwise) shows the same angle."""
    picture = np.zeros((101, 101))
    picture[50, 50:90] = 1.0  # a hand that points to the right
    if mirrored:
        picture = picture[:, ::-1]
    turned = rotate(picture, -degrees, order=1)
    rows, columns = np.nonzero(turned > 0.3)
    hand = np.array([columns.mean() - 50, rows.mean() - 50])
    hand /= np.linalg.norm(hand)
    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    flip = np.diag([-1.0 if mirrored else 1.0, 1.0])
    matrix = np.eye(3)
    matrix[:2, :2] = turn @ flip
    said, was = Placement(matrix).turn((0.0, 0.0))
    assert said == pytest.approx(degrees) and was == mirrored
    right = apply(matrix, [[1.0, 0.0]])[0] - apply(matrix, [[0.0, 0.0]])[0]
    assert right == pytest.approx(hand, abs=0.03)


def test_the_slope_is_that_of_small_steps():
    placement = Placement(known(3))
    here, step = np.array([40.0, 70.0]), 1e-5
    steps = [(placement.to_scan(here + d) - placement.to_scan(here - d)) / (2 * step)
             for d in (np.array([step, 0]), np.array([0, step]))]
    assert placement.jacobian(here) == pytest.approx(np.stack(steps, axis=1), rel=1e-5)


def test_block_means_are_skimages():
    picture = np.random.default_rng(1).random((98, 131)).astype(np.float32)
    theirs = downscale_local_mean(picture[:96, :129], (3, 3))
    assert shrink(picture, 3) == pytest.approx(theirs, abs=1e-6)
    assert shrink(picture, 1) is picture


def test_a_point_keeps_its_place_when_the_scan_is_made_smaller():
    """The centre of mass of a blob, before and after averaging blocks."""
    rows, columns = np.mgrid[0:200, 0:200]
    blob = np.exp(-0.5 * ((rows - 83.3) ** 2 + (columns - 120.6) ** 2) / 64).astype(np.float32)
    small = shrink(blob, 5)
    y, x = np.mgrid[0 : small.shape[0], 0 : small.shape[1]]
    centre = np.array([np.sum(x * small), np.sum(y * small)]) / small.sum()
    placement = Placement(np.array([[1.0, 0, 120.6], [0, 1.0, 83.3], [0, 0, 1.0]]))
    assert placement.scaled(5).to_scan([0.0, 0.0]) == pytest.approx(centre, abs=0.01)
    back = placement.scaled(5).unscaled(5).matrix
    assert back == pytest.approx(placement.matrix, abs=1e-12)


@pytest.mark.parametrize("degrees", [0.0, 37.0, 90.0, 180.0, 271.0])
def test_corners_that_are_clicked_in_any_order_go_clockwise_from_step_one(degrees):
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    row = np.array([[0, 0], [100, 0], [100, 20], [0, 20]]) @ np.array([[c, s], [-s, c]])
    for order in ((0, 3, 1, 2), (3, 0, 1, 2), (0, 3, 2, 1), (3, 0, 2, 1)):
        assert from_step_one(row[list(order)]) == pytest.approx(row.ravel())
