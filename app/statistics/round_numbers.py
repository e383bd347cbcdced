"""Round numbers: steps of scales and grids, and the roundest number between two others."""

from math import ceil, floor, inf, isfinite, log10


def round_step(span: float, at_most: int) -> float:
    """The smallest step of 1, 2 or 5 times a power of ten that goes into `span` no more than `at_most` times.

    Parameters
    ----------
    span
        What is to be divided, above 0, in any unit.
    at_most
        How many steps.

    Returns
    -------
    float
        The step, in the unit of `span`.
    """
    power = 10.0 ** floor(log10(span / at_most))
    return next(
        factor * power for factor in (1.0, 2.0, 5.0, 10.0, inf) if span <= factor * power * at_most * (1 + 1e-9)
    )


def roundest(low: float, high: float) -> float:
    """The number of fewest decimals between `low` and `high`, neither included, of those the nearest to the middle.

    Parameters
    ----------
    low, high
        Bounds, neither included, in any one unit.

    Returns
    -------
    float
        The number.
    """
    middle = (low + high) / 2
    decimals = max(-9, floor(-log10(high - low)) - 1) if isfinite(high - low) else -9
    while True:
        step = 10.0**-decimals
        near = round(middle / step)
        for k in sorted((near - 1, near, near + 1), key=lambda k: abs(k * step - middle)):
            # round() again, since k x step is not the nearest float to the decimal meant
            found = round(k * step, max(decimals, 0))
            if low < found < high:
                return found
        decimals += 1


def grid(low: float, high: float, at_most: int) -> list[float]:
    """Round numbers from just below `low` to just above `high`, evenly spaced, about `at_most` of them.

    Parameters
    ----------
    low, high
        Ends of what is to be covered, in any one unit; `low` below `high`.
    at_most
        About how many numbers.

    Returns
    -------
    list[float]
        The numbers, rising.
    """
    step = round_step(high - low, at_most)
    decimals = max(0, -floor(log10(step) + 1e-9))
    return [round(k * step, decimals) for k in range(floor(low / step), ceil(high / step) + 1)]
