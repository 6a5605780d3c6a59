"""A thousand ordinary melts that nothing was tuned on: no furnace is asked about its power, no figure goes unexplained.

The truth is the simulated plant's (followed.py). Careless casters are among them, one in some seventy: where
the bath truly rises above its window, that alarm is right, and no other. Two minutes for each block of twenty.
"""

from collections.abc import Iterator

import pytest

from tests.normal.followed import follow

FIRST, COUNT, BLOCK = 30_000, 1_000, 20


def blocks() -> Iterator[range]:
    for first in range(FIRST, FIRST + COUNT, BLOCK):
        yield range(first, first + BLOCK)


@pytest.mark.long
@pytest.mark.timeout(1200)  # a guard against hanging, not a bar
@pytest.mark.parametrize("seeds", list(blocks()), ids=lambda seeds: f"seeds_{seeds[0]}_to_{seeds[-1]}")
def test_no_fresh_melt_is_doubted_where_its_power_is_as_marked(seeds: range) -> None:
    said = {seed: told for seed in seeds if (told := follow.__wrapped__(seed).wrong)}
    assert not said
