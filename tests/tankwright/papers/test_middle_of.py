"""The middle of a fitting as the drawings give it in figures."""

import numpy as np

from tankwright.papers.offsets import middle_of


def arm(from_: tuple[float, float], to: tuple[float, float]) -> np.ndarray:
    return np.linspace(from_, to, 5)


def test_half_a_rim_at_a_seam_has_the_middle_of_its_cross() -> None:
    turn = np.linspace(0, np.pi, 40)
    rim = np.array([136.4, 12.8]) + np.column_stack([28.5 * np.cos(turn), 27.0 * np.sin(turn)])
    arms = [arm((131.4, 12.8), (141.4, 12.8)), arm((136.4, 12.8), (136.4, 17.8))]  # the second is cut by the seam
    assert np.allclose(middle_of(rim, arms), (136.4, 12.8), atol=1e-9)


def test_a_cross_without_a_rim_has_the_middle_where_its_arms_meet() -> None:
    along, cut = arm((45.0, 20.0), (55.0, 20.0)), arm((50.0, 20.0), (50.0, 25.0))
    assert np.allclose(middle_of(cut, [along]), (50.0, 20.0), atol=1e-9)
    assert np.allclose(middle_of(along), (50.0, 20.0), atol=1e-9)
