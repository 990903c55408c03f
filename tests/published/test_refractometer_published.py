"""The refractometer's cubic. Its original post was not readable: every row here is computed from
the coefficients as six public codes carry them; the points it must not be used for are ours.
"""

from __future__ import annotations

import pytest

from dashboard.fermentation.gravity import sg_from_plato
from dashboard.fermentation.refractometer import beer_sg, cubic_sg, wort_sg

TERRILL = "computed from the cubic of S. Terrill 2011"
LINEAR = "computed from the linear fit of S. Terrill 2011"

# (first °Bx, present °Bx, both over the wort factor; SG, source)
ROWS = [
    (8.0, 3.6, 1.0068, TERRILL),
    (8.0, 4.0, 1.0087, TERRILL),
    (8.0, 5.2, 1.0137, TERRILL),
    (10.0, 4.5, 1.0083, TERRILL),
    (10.0, 5.0, 1.0103, TERRILL),
    (11.3, 5.9, 1.0121, TERRILL),
    (13.4, 6.9, 1.0132, TERRILL),
    (15.2, 8.1, 1.0153, TERRILL),
    (17.6, 9.3, 1.0170, TERRILL),
]


@pytest.mark.parametrize(("first", "now", "sg", "source"), ROWS)
def test_the_cubic(first, now, sg, source):
    assert cubic_sg(first, now) == pytest.approx(sg, abs=2e-4), source


@pytest.mark.parametrize(
    ("first", "now", "sg", "source"),
    [(13.4, 6.9, 1.0126, LINEAR), (15.2, 8.1, 1.0153, LINEAR), (17.6, 9.3, 1.0174, LINEAR)],
)
def test_the_other_published_fit_agrees_in_its_range(first, now, sg, source):
    assert beer_sg(1.04 * first, 1.04 * now) == pytest.approx(sg, abs=1e-3), source


@pytest.mark.parametrize(
    ("first", "wrong"), [(8.0, 1.023), (12.0, 1.041), (16.0, 1.091), (20.0, 1.195)]
)
def test_where_the_cubic_is_wrong_we_are_not(first, wrong):
    """Computed: with nothing fermented the cubic alone is up to 0.11 off; ours is the wort."""
    assert cubic_sg(first, first) == pytest.approx(wrong, abs=1e-3)
    assert beer_sg(1.04 * first, 1.04 * first) == pytest.approx(sg_from_plato(first), abs=1e-9)


def test_the_wort_factor():
    """Computed: 13.0 °Bx over 1.04 is 12.5 °Bx of sucrose."""
    assert wort_sg(13.0, 1.04) == pytest.approx(sg_from_plato(12.5))
