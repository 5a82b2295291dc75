"""Where a curve has its top between its points."""

import numpy as np
import pytest

from segue.review.listening import bent


@pytest.mark.parametrize("top", [3.0, 3.2, 3.5, 2.6])
def test_of_a_parabola_the_top_is_found_exactly(top):
    row = -np.square(np.arange(8) - top)
    index = int(np.argmax(row))
    assert index + bent(row, index) == pytest.approx(top)


@pytest.mark.parametrize("row", [[3.0, 2.0, 1.0], [1.0, 2.0, 3.0], [1.0, 1.0, 1.0]])
def test_at_an_end_or_where_nothing_bends_it_is_the_point_itself(row):
    row = np.array(row)
    assert bent(row, int(np.argmax(row))) == 0.0
