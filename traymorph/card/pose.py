"""The camera's pose and lens from the card's corners, with the doubt that is left."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from traymorph.model.viewpoint import Viewpoint

Floats = NDArray[np.float64]

_FILM_DIAGONAL = 43.2666
"""Diagonal of the 36 x 24 mm frame, mm: "35 mm equivalent" compares diagonals (CIPA DCG-001)."""
_COMMON_FOCAL = 26.0
"""Main camera of most phones, 35 mm equivalent; taken when the photo does not say."""
_COMMON_FOCAL_U = 0.10
_ROUNDING_U = 0.5 / np.sqrt(3.0)
"""EXIF gives whole mm: a uniform doubt of half a mm either way."""
_FOCUS_U = 0.01
"""Focusing at arm's length and stabilising crop lengthen the lens by about one per cent."""
_RADIAL_U = 0.02
_CENTRE_U = 0.005
"""Typical offset of the principal point over the photo's width."""
_NOISE_FLOOR = 0.1
"""Corners are never believed better than this, px: paper is not perfectly flat."""
_HOPELESS = 20.0
"""A second pose whose corners fit this many times worse is not worth refining."""


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """A camera in the card's frame and how well it explains the corners (root mean square, px)."""

    viewpoint: Viewpoint
    residual_px: float


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    parameters: Floats
    covariance: Floats
    cost: float
    residual_px: float


class _Problem:
    """Corners to explain by ten unknowns.

    Rotation vector (3), place of the card (3), then what is known
    beforehand within limits: logarithm of the focal length, radial distortion, principal point.
    """

    def __init__(
        self, places: Floats, points: Floats, size_px: tuple[int, int], focal: tuple[float, float]
    ) -> None:
        self.places = np.column_stack([places, np.zeros(len(places))])
        self.points = points
        self.width, self.height = size_px
        self.focal, focal_u = focal
        self.prior_u = np.array([focal_u, _RADIAL_U, _CENTRE_U, _CENTRE_U])
        self.noise = _NOISE_FLOOR

    def camera(self, parameters: Floats) -> tuple[Floats, Floats]:
        focal = self.focal * float(np.exp(parameters[6]))
        matrix = np.array(
            [
                [focal, 0.0, (self.width - 1) / 2.0 + parameters[8] * self.width],
                [0.0, focal, (self.height - 1) / 2.0 + parameters[9] * self.width],
                [0.0, 0.0, 1.0],
            ]
        )
        return matrix, np.array([parameters[7], 0.0])

    def viewpoint(self, parameters: Floats, doubts: tuple[float, float, bool]) -> Viewpoint:
        matrix, radial = self.camera(parameters)
        rotation, _ = cv2.Rodrigues(parameters[:3])
        return Viewpoint(
            matrix,
            radial,
            np.asarray(rotation, dtype=np.float64),
            parameters[3:6].copy(),
            (self.width, self.height),
            *doubts,
        )

    def misfit(self, parameters: Floats) -> Floats:
        return self._explain(parameters)[0]

    def slopes(self, parameters: Floats) -> Floats:
        return self._explain(parameters)[1]

    def _explain(self, parameters: Floats) -> tuple[Floats, Floats]:
        """Misfit in units of its doubt and its derivatives, priors below the corners."""
        matrix, radial = self.camera(parameters)
        bent = np.array([radial[0], radial[1], 0.0, 0.0])
        seen, jacobian = cv2.projectPoints(
            self.places, parameters[:3], parameters[3:6], matrix, bent
        )
        misfit = (seen.reshape(-1, 2) - self.points).ravel() / self.noise
        # OpenCV's columns: rotation, translation, fx, fy, cx, cy, k1, ...
        lens = np.column_stack(
            [
                (jacobian[:, 6] + jacobian[:, 7]) * matrix[0, 0],
                jacobian[:, 10],
                jacobian[:, 8:10] * self.width,
            ]
        )
        slopes = np.hstack([jacobian[:, :6], lens]) / self.noise
        prior = np.hstack([np.zeros((4, 6)), np.diag(1.0 / self.prior_u)])
        believed = parameters[6:] / self.prior_u
        return np.concatenate([misfit, believed]), np.vstack([slopes, prior])

    def solve(self, rotation: Floats, translation: Floats) -> _Fit:
        start = np.concatenate([np.ravel(rotation), np.ravel(translation), np.zeros(4)])
        scale = np.concatenate([np.ones(3), np.full(3, abs(start[5])), self.prior_u])
        fit = least_squares(self.misfit, start, jac=self.slopes, x_scale=scale, method="lm")
        n = self.points.size
        residual = fit.fun[:n] * self.noise
        covariance = np.linalg.pinv(fit.jac.T @ fit.jac)
        rms = float(np.sqrt(np.sum(residual**2) / (n / 2)))
        return _Fit(fit.x, covariance, float(np.sum(fit.fun**2)), rms)


def focal_guess(focal_35mm: float | None, size_px: tuple[int, int]) -> tuple[float, float]:
    """Focal length in px and its relative standard uncertainty, from what the EXIF data say."""
    diagonal = float(np.hypot(*size_px))
    if focal_35mm is None:
        return _COMMON_FOCAL / _FILM_DIAGONAL * diagonal, _COMMON_FOCAL_U
    doubt = float(np.hypot(_ROUNDING_U / focal_35mm, _FOCUS_U))
    return focal_35mm / _FILM_DIAGONAL * diagonal, doubt


def fit_pose(
    places: Floats, points: Floats, size_px: tuple[int, int], focal_35mm: float | None
) -> Pose:
    """Pose the camera from all corners at once.

    A flat card seen from afar has two poses that look nearly alike; both are fitted and the
    better one is taken (infinitesimal plane-based pose: Collins & Bartoli 2014, IJCV
    109(3):252-286). The stated doubts are those of the fit (corner noise, focal length,
    distortion, principal point), widened where the second pose explains the corners almost as
    well.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        Corners on the card, mm as printed.
    points : ndarray, shape (n, 2)
        The same corners in the photo, px.
    size_px : tuple of int
        (width, height) of the photo.
    focal_35mm : float or None
        From the EXIF data.

    Returns
    -------
    Pose
    """
    problem = _Problem(places, points, size_px, focal_guess(focal_35mm, size_px))
    matrix, _ = problem.camera(np.zeros(10))
    _, rotations, translations, errors = cv2.solvePnPGeneric(
        problem.places, points, matrix, None, flags=cv2.SOLVEPNP_IPPE
    )
    error = np.ravel(errors)
    starts = [
        (rotations[i], translations[i])
        for i in np.argsort(error)
        if error[i] < _HOPELESS * max(float(error.min()), _NOISE_FLOOR)
    ]
    fits = [problem.solve(*start) for start in starts]
    # Corners that fit badly (bent card, blur) are trusted less than what is known of the lens.
    noise = max(_NOISE_FLOOR, min(fit.residual_px for fit in fits))
    if noise > _NOISE_FLOOR:
        problem.noise = noise
        fits = [problem.solve(*start) for start in starts]
    fits.sort(key=lambda fit: fit.cost)
    best = fits[0]
    distance_u, tilt_u = _doubts(problem, best)
    for other in fits[1:]:
        chance = 1.0 / (1.0 + np.exp(min((other.cost - best.cost) / 2.0, 50.0)))
        apart = _angle(best.parameters[:3], other.parameters[:3])
        tilt_u = float(np.hypot(tilt_u, apart * np.sqrt(chance)))
    known = focal_35mm is not None
    return Pose(problem.viewpoint(best.parameters, (distance_u, tilt_u, known)), best.residual_px)


def _doubts(problem: _Problem, fit: _Fit) -> tuple[float, float]:
    """Give the standard uncertainties of log distance and of the plane's tilt (degrees)."""

    def outcome(parameters: Floats) -> Floats:
        view = problem.viewpoint(parameters, (0.0, 0.0, False))
        return np.append(np.log(abs(view.position_mm[2])), view.rotation[:, 2])

    steps = np.sqrt(np.maximum(np.diag(fit.covariance), 1e-18)) * 0.1
    slopes = np.column_stack(
        [
            (outcome(fit.parameters + step) - outcome(fit.parameters - step)) / (2.0 * step.max())
            for step in np.diag(steps)
        ]
    )
    spread = slopes @ fit.covariance @ slopes.T
    distance_u = float(np.sqrt(max(spread[0, 0], 0.0)))
    normal_u = float(np.sqrt(max(np.linalg.eigvalsh(spread[1:, 1:])[-1], 0.0)))
    return distance_u, float(np.degrees(normal_u))


def _angle(first: Floats, second: Floats) -> float:
    """Angle between the normals of two poses, degrees."""
    a, b = (cv2.Rodrigues(vector)[0][:, 2] for vector in (first, second))
    return float(np.degrees(np.arccos(np.clip(a @ b, -1.0, 1.0))))
