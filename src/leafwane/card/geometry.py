"""Homographies between card and photo: making, applying, and what they say of the camera."""

from typing import Final

import cv2
import numpy as np

from leafwane.card.design import Points

# Focal length over the photo's long side of a phone's main lens (24 to 28 mm on 36 mm film); common practice.
_FOCAL_PER_SIDE: Final = 0.72


def homography(source: Points, target: Points) -> Points | None:
    """Return the (3, 3) homography that takes source points to target points, (n, 2) each with n >= 4, or None."""
    matrix, _ = cv2.findHomography(source, target, 0)
    return None if matrix is None or not np.isfinite(matrix).all() else np.asarray(matrix, dtype=np.float64)


def project(matrix: Points, points: Points) -> Points:
    """Return (n, 2) points after a homography."""
    lifted = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(lifted[:, :2] / lifted[:, 2:], dtype=np.float64)


def turns_clockwise(quad: Points) -> bool:
    """Return whether (4, 2) corners make a convex outline that runs clockwise in the photo."""
    edges = np.roll(quad, -1, axis=0) - quad
    following = np.roll(edges, -1, axis=0)
    return bool(((edges[:, 0] * following[:, 1] - edges[:, 1] * following[:, 0]) > 0).all())


def px_per_mm(matrix: Points, at_mm: Points) -> float:
    """Return the scale of a homography at a point (2,): the root of the area of a square mm in pixels."""
    square = at_mm + np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)])
    x, y = project(matrix, square).T
    return float(np.sqrt(0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))))


def tilt_deg(matrix: Points, photo_size: tuple[int, int]) -> float:
    """Return the angle between the lens's axis and the normal of the card's plane, 0..90.

    Args:
        matrix: Card mm to photo pixels.
        photo_size: Width and height; the lens is taken to be a phone's main one, centred on the photo.
    """
    focal = _FOCAL_PER_SIDE * max(photo_size)
    middle = (np.array(photo_size) - 1) / 2
    camera = np.array([(focal, 0, middle[0]), (0, focal, middle[1]), (0, 0, 1)])
    axes = np.linalg.solve(camera, matrix)
    normal = np.cross(axes[:, 0], axes[:, 1])
    return float(np.degrees(np.arccos(min(1.0, abs(normal[2]) / float(np.linalg.norm(normal))))))
