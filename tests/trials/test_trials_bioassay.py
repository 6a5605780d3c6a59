"""The numerics of trials against a published Bayesian dose-response analysis.

Data: Racine, Grieve, Fluehler and Smith, Applied Statistics 35 (1986), as in Gelman et al., Bayesian Data Analysis
(3rd edition), section 3.7: four doses, five animals each. Read in stored pages of the course that goes with the book:
the data, the flat prior over the grid -5..10 x -10..40, and that the figures are conditional on a positive slope. From
memory of the book, not read again: estimate (0.8, 7.7) with standard errors (1.0, 4.9), LD50 about -0.1 and the span of
its histogram. Posterior means are checked against scipy, not against a printed figure.
A hot fault of the model is a death: threshold = -alpha / beta, scale = 1 / beta, no background, no cold side.
"""

import numpy as np
import pytest
from scipy import integrate

from pourcall.trials import grid, worlds
from pourcall.trials.grid import Array, Evidence, Fit, Side, Trial

DOSES, DEATHS, ANIMALS = (-0.86, -0.30, -0.05, 0.73), (0, 1, 3, 5), 5
NONE: Evidence = (1.0, 0.0, 0.0, 0.0)
SOME: Evidence = (0.0, 1.0, 1.0, 1.0)


def trials(u: float = 0.0) -> list[Trial]:
    return [
        Trial(dose, u, ((NONE, SOME if animal < died else NONE),))
        for dose, died in zip(DOSES, DEATHS, strict=True)
        for animal in range(ANIMALS)
    ]


def never() -> Side:
    one = np.array([1.0])
    return Side(-1.0, -1e6 * one, one, 0.0 * one, 0.0 * one, 0.0 * one)


def fitted(alpha: Array, beta: Array, *, u: float = 0.0) -> tuple[Array, Array, Fit]:
    a, b = (axis.ravel() for axis in np.meshgrid(alpha, beta, indexing="ij"))
    deaths = Side(1.0, -a / b, 1.0 / b, np.zeros_like(a), np.zeros_like(a), np.zeros_like(a))
    return a, b, grid.fit(never(), deaths, 0.0, trials(u))


def book_grid() -> tuple[Array, Array]:
    return np.linspace(-5.0, 10.0, 301), np.linspace(0.05, 40.0, 400)


def log_likelihood(alpha: float, beta: float) -> float:
    """Binomial logistic, written down apart from the code under test."""
    eta = alpha + beta * np.array(DOSES)
    died = np.array(DEATHS, dtype=float)
    return float((died * eta - ANIMALS * np.logaddexp(0.0, eta)).sum())


def test_the_likelihood_is_binomial_logistic() -> None:
    _, _, found = fitted(np.array([3.0, 0.8]), np.array([9.0, 7.7]))
    log_p = np.log(found.joint[0])  # (3, 9), (3, 7.7), (0.8, 9), (0.8, 7.7)
    assert log_p[3] - log_p[0] == pytest.approx(log_likelihood(0.8, 7.7) - log_likelihood(3.0, 9.0), abs=1e-9)


def test_the_posterior_mode_and_its_curvature_are_those_of_the_book() -> None:
    a, b, found = fitted(np.linspace(0.0, 2.0, 201), np.linspace(4.0, 12.0, 161))
    mode = int(np.argmax(found.joint[0]))
    assert (a[mode], b[mode]) == pytest.approx((0.8, 7.7), abs=0.06)
    log_p = np.log(found.joint[0]).reshape(201, 161)
    i, j = np.unravel_index(mode, log_p.shape)
    da, db = 0.01, 0.05
    h_aa = (log_p[i + 1, j] - 2 * log_p[i, j] + log_p[i - 1, j]) / da**2
    h_bb = (log_p[i, j + 1] - 2 * log_p[i, j] + log_p[i, j - 1]) / db**2
    h_ab = (log_p[i + 1, j + 1] - log_p[i + 1, j - 1] - log_p[i - 1, j + 1] + log_p[i - 1, j - 1]) / (4 * da * db)
    errors = np.sqrt(np.diag(np.linalg.inv(-np.array([[h_aa, h_ab], [h_ab, h_bb]]))))
    assert errors == pytest.approx((1.0, 4.9), abs=0.1)


def test_the_dose_that_kills_half_is_that_of_the_book() -> None:
    a, b, found = fitted(*book_grid())
    ld50, weight = -a / b, found.joint[0]
    order = np.argsort(ld50)
    median = float(np.interp(0.5, np.cumsum(weight[order]), ld50[order]))
    assert median == pytest.approx(-0.1, abs=0.03)
    inside = weight[(ld50 > -0.4) & (ld50 < 0.3)].sum()  # the book's histogram spans about that
    assert inside > 0.95


def test_posterior_means_agree_with_an_integration_by_scipy() -> None:
    a, b, found = fitted(*book_grid())

    def moment(of_alpha: float, of_beta: float) -> float:
        value, _ = integrate.dblquad(
            lambda y, x: (x**of_alpha) * (y**of_beta) * np.exp(log_likelihood(x, y)),
            -5.0,
            10.0,
            0.05,
            40.0,
            epsabs=1e-9,
            epsrel=1e-6,
        )
        return float(value)

    whole = moment(0, 0)
    assert float(found.joint[0] @ a) == pytest.approx(moment(1, 0) / whole, rel=2e-3)
    assert float(found.joint[0] @ b) == pytest.approx(moment(0, 1) / whole, rel=2e-3)


def test_the_band_at_a_dose_is_the_posterior_of_its_death_rate() -> None:
    a, b, found = fitted(*book_grid())
    dose = -0.05
    drawn = worlds.draw(found.cold, found.hot, [(found.joint, 1.0, 0.0)], (0.0, 0.0), 20_000)
    cold, hot = drawn.free(np.array([dose]))
    assert cold.min() == 1.0
    low, high = worlds.band(hot)
    survives = 1.0 / (1.0 + np.exp(a + b * dose))
    order = np.argsort(survives)
    exact = np.interp((0.05, 0.95), np.cumsum(found.joint[0][order]), survives[order])
    assert (low[0], high[0]) == pytest.approx(tuple(exact), abs=0.004)
    assert float(drawn.weight @ hot[:, 0]) == pytest.approx(float(found.joint[0] @ survives), abs=1e-3)


def test_an_uncertain_dose_is_integrated_out() -> None:
    """The nodes against a fine sum over the error of one trial; a logistic of scale 1 and an error of 0.8."""
    side = Side(1.0, np.array([0.3, -0.5]), np.array([1.0, 1.0]), np.zeros(2), np.zeros(2), np.zeros(2))
    found = grid.fit(never(), side, 0.0, [Trial(0.0, 0.8, ((NONE, SOME),))])
    error = np.linspace(-6.0, 6.0, 4001)
    weight = np.exp(-0.5 * error**2)
    dead = [float((weight / (1.0 + np.exp(t - 0.8 * error))).sum() / weight.sum()) for t in (0.3, -0.5)]
    assert found.joint[0, 0] == pytest.approx(dead[0] / sum(dead), abs=2e-4)
