"""Small linear programmes, in plain Python. Costs and constraints in, the cheapest point out.

Two-phase dense tableau with Bland's rule, which cannot cycle. Meant for recipes: some tens of variables and rows, a few
milliseconds, so that nobody needs an array library to weigh a charge. Tests compare it with scipy's solver.
"""

from collections.abc import Sequence

_TINY = 1e-9
_MOST_STEPS = 5000


class Unbounded(ArithmeticError):
    """The cost falls without end: a constraint is missing."""


def minimise(
    cost: Sequence[float],
    at_most: Sequence[tuple[Sequence[float], float]] = (),
    equal: Sequence[tuple[Sequence[float], float]] = (),
) -> list[float] | None:
    """x >= 0 that minimises cost.x with row.x <= bound and row.x = bound; None where there is none.

    Raises Unbounded, and ArithmeticError where it does not end (which Bland's rule rules out but for rounding).
    """
    size = len(cost)
    rows: list[list[float]] = []
    slack_of: list[int | None] = []
    slack_count = len(at_most)
    for number, (row, bound) in enumerate(at_most):
        full = [*row, *([0.0] * slack_count), bound]
        full[size + number] = 1.0
        rows.append(full)
        slack_of.append(size + number)
    for row, bound in equal:
        rows.append([*row, *([0.0] * slack_count), bound])
        slack_of.append(None)
    width = size + slack_count
    basis: list[int] = []
    artificial = 0
    for number, full in enumerate(rows):
        scale = max((abs(value) for value in full[:size]), default=0.0)
        if scale > 0.0:  # rows of ppm and rows of kilograms in one tableau
            full[:] = [value / scale for value in full]
            slack = slack_of[number]
            if slack is not None:
                full[slack] = 1.0  # the slack is counted in the scaled unit
        if full[-1] < 0.0:
            full[:] = [-value for value in full]
        slack = slack_of[number]
        if slack is not None and full[slack] > 0.0:
            basis.append(slack)
        else:
            basis.append(width + artificial)
            artificial += 1
    for number, full in enumerate(rows):
        extra = [0.0] * artificial
        if basis[number] >= width:
            extra[basis[number] - width] = 1.0
        full[-1:] = [*extra, full[-1]]
    if artificial:
        goal = [0.0] * width + [1.0] * artificial
        _pivot_to_best(rows, basis, goal, width + artificial)
        if sum(full[-1] for full, column in zip(rows, basis, strict=True) if column >= width) > 1e-7:
            return None
        _drive_out(rows, basis, width)
        for full in rows:
            full[width:-1] = []
    _pivot_to_best(rows, basis, [*cost, *([0.0] * slack_count)], width)
    answer = [0.0] * width
    for full, column in zip(rows, basis, strict=True):
        answer[column] = full[-1]
    return [max(0.0, value) for value in answer[:size]]


def _pivot_to_best(rows: list[list[float]], basis: list[int], goal: Sequence[float], width: int) -> None:
    """Pivot until no column lowers the goal; Bland: the first column that does, the lowest basic one that leaves."""
    for _ in range(_MOST_STEPS):
        multipliers = [goal[column] for column in basis]
        entering = -1
        for column in range(width):
            reduced = goal[column] - sum(m * row[column] for m, row in zip(multipliers, rows, strict=True) if m)
            if reduced < -_TINY:
                entering = column
                break
        if entering < 0:
            return
        leaving, least = -1, 0.0
        for number, row in enumerate(rows):
            if row[entering] > _TINY:
                ratio = row[-1] / row[entering]
                if leaving < 0 or ratio < least - _TINY or (ratio <= least + _TINY and basis[number] < basis[leaving]):
                    leaving, least = number, ratio
        if leaving < 0:
            raise Unbounded("the cost falls without end")
        _pivot(rows, basis, leaving, entering)
    raise ArithmeticError("the linear programme does not end")


def _pivot(rows: list[list[float]], basis: list[int], leaving: int, entering: int) -> None:
    pivot_row = rows[leaving]
    factor = pivot_row[entering]
    pivot_row[:] = [value / factor for value in pivot_row]
    for number, row in enumerate(rows):
        if number != leaving and row[entering]:
            share = row[entering]
            row[:] = [value - share * pivot for value, pivot in zip(row, pivot_row, strict=True)]
    basis[leaving] = entering


def _drive_out(rows: list[list[float]], basis: list[int], width: int) -> None:
    """Replace artificial variables that stayed in the basis at zero; drop rows that say nothing."""
    for number in reversed(range(len(rows))):
        if basis[number] < width:
            continue
        column = next((c for c in range(width) if abs(rows[number][c]) > 1e-7), None)
        if column is None:
            del rows[number], basis[number]
        else:
            _pivot(rows, basis, number, column)
