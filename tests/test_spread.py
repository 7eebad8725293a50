"""Plus-minus and ellipse hold the share that they claim."""

from __future__ import annotations

import numpy as np

from matcher.colour.uncertainty import ellipse_95, plus_minus_95

LAB = np.array([40.0, 12.0, 20.0])
COVARIANCE = np.array([[0.8, 0.1, 0.0], [0.1, 1.5, 0.9], [0.0, 0.9, 2.0]])


def test_plus_minus_holds_95_percent_of_draws() -> None:
    draws = np.random.default_rng(7).multivariate_normal(LAB, COVARIANCE, 200_000)
    inside = np.abs(draws - LAB) <= plus_minus_95(COVARIANCE)
    assert np.allclose(inside.mean(axis=0), 0.95, atol=0.003)


def test_ellipse_holds_95_percent_of_draws_in_the_plane() -> None:
    outline = ellipse_95(LAB, COVARIANCE, points=720)
    draws = np.random.default_rng(8).multivariate_normal(LAB, COVARIANCE, 100_000)[:, 1:] - LAB[1:]
    assert np.allclose(outline[0], outline[-1])
    reach = np.linalg.norm(outline - LAB[1:], axis=1)
    angle = np.arctan2(*(outline - LAB[1:]).T[::-1])
    order = np.argsort(angle)
    at = np.interp(np.arctan2(draws[:, 1], draws[:, 0]), angle[order], reach[order], period=2 * np.pi)
    assert abs(np.mean(np.linalg.norm(draws, axis=1) <= at) - 0.95) < 0.004


def test_an_exact_colour_has_an_ellipse_of_no_size() -> None:
    assert np.allclose(ellipse_95(LAB, np.zeros((3, 3))), LAB[1:])
    assert np.allclose(plus_minus_95(np.zeros((3, 3))), 0.0)
