"""Published data that several tests use, typed from the sources named."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

Array = NDArray[np.float64]


def printed(text: str) -> Any:
    """A number as printed, equal to whatever rounds to it: half a unit of its last digit is forgiven."""
    decimals = len(text.partition(".")[2])
    return pytest.approx(float(text), abs=0.5001 * 10**-decimals)


def numbers(text: str) -> Array:
    """Numbers parted by blanks, lines or bars."""
    return np.array(text.replace("|", " ").split(), dtype=np.float64)


# Turck et al. 2010, Intensive Care Med. 36:107: 113 patients, poor outcome (1), grade and two proteins; as the data set
# aSAH that R package pROC 1.18.0 carries.
_POOR = """
0 0 0 0 1 1 0 1 0 0 1 0 1 1 0 0 1 0 1 1 1 0 1 0 0 0 0 0 0 0 0 0 1 0 0 1 1 0 1 1 0 0 0 0 0 0 0 0 0 1 1 0 0 0 1
0 0 0 1 0 1 0 0 1 1 1 0 1 1 0 1 1 1 1 0 0 0 1 1 0 1 0 0 0 0 0 0 1 0 0 0 0 0 0 0 0 0 0 0 0 1 1 1 1 1 1 0 0 0 1
0 0 0
"""
_WFNS = """
1 1 1 1 3 2 5 4 1 2 5 2 5 5 1 2 5 2 2 5 2 1 1 1 1 2 1 2 1 1 3 4 2 1 4 5 4 1 4 2 5 5 1 1 2 4 1 1 2 5 5 2 1 2 5
1 2 2 2 1 5 1 1 2 5 2 1 4 5 2 4 4 1 4 1 2 1 4 2 1 2 3 2 4 2 1 4 5 1 1 5 4 2 2 1 1 1 3 1 2 5 2 2 5 5 5 2 4 4 5
1 1 1
"""
_S100B = """
0.13 0.14 0.1 0.04 0.13 0.1 0.47 0.16 0.18 0.1 0.12 0.1 0.44 0.71 0.04 0.08 0.49 0.04 0.07 0.33 0.09 0.09 0.07
0.11 0.07 0.17 0.07 0.11 0.13 0.19 0.05 0.16 0.41 0.14 0.34 0.35 0.48 0.09 0.96 0.25 0.5 0.46 0.16 0.07 0.43
0.45 0.11 0.08 0.09 0.86 0.52 0.08 0.06 0.13 2.07 0.1 0.14 0.15 0.07 0.06 0.77 0.05 0.09 0.3 0.03 0.09 0.04
0.23 0.7 0.09 0.27 0.71 0.08 0.26 0.08 0.16 0.09 0.13 0.1 0.08 0.11 0.33 0.11 0.28 0.07 0.1 0.32 0.22 0.07
0.05 0.24 0.38 0.1 0.15 0.08 0.14 0.1 0.07 0.04 0.19 0.56 0.14 0.58 0.32 0.82 0.74 0.15 0.47 0.17 0.44 0.15
0.5 0.48
"""
_NDKA = """
3.01 8.54 8.09 10.42 17.4 12.75 6 13.2 15.54 6.01 15.96 17.86 5.18 8.9 13.41 20.75 11.6 16.11 32.37 54.82
32.41 49.94 40.34 9.47 6.29 12.53 6.54 6.3 80.3 12.8 9.8 9.81 9.85 18.21 5.03 14.04 21.93 8.02 7.42 8.38 6.59
9.63 13.12 7.96 14.34 41.43 7.63 7.06 12.59 13.56 3.87 9.44 7.66 12.98 419.19 27.19 22.27 9.95 21.22 11.73
10.4 58.83 6.39 11.09 12.22 13.67 17.21 22.63 12.9 9.7 21.57 8.23 72.57 15.54 10.51 10.6 14.57 5.19 9.63 4.61
21.48 17.3 12.71 9.44 11.07 19.46 10.83 5.37 11.97 7.75 9.83 10.55 28.49 8.53 12.57 12.9 46.83 11.68 12.67
9.01 9.57 34.06 11.72 14.26 47.61 11.67 24.58 10.33 13.87 15.89 22.43 6.79 13.45
"""
POOR = numbers(_POOR) == 1
WFNS, S100B, NDKA = numbers(_WFNS), numbers(_S100B), numbers(_NDKA)

# AIAG, Measurement Systems Analysis, 4th edition: 10 parts, 3 appraisers, 3 trials.
AIAG = numbers(
    """
 0.29  0.41  0.64  0.08  0.25  0.07  0.04 -0.11 -0.15
-0.56 -0.68 -0.58 -0.47 -1.22 -0.68 -1.38 -1.13 -0.96
 1.34  1.17  1.27  1.19  0.94  1.34  0.88  1.09  0.67
 0.47  0.50  0.64  0.01  1.03  0.20  0.14  0.20  0.11
-0.80 -0.92 -0.84 -0.56 -1.20 -1.28 -1.46 -1.07 -1.45
 0.02 -0.11 -0.21 -0.20  0.22  0.06 -0.29 -0.67 -0.49
 0.59  0.75  0.66  0.47  0.55  0.83  0.02  0.01  0.21
-0.31 -0.20 -0.17 -0.63  0.08 -0.34 -0.46 -0.56 -0.49
 2.26  1.99  2.01  1.80  2.12  2.19  1.77  1.45  1.87
-1.36 -1.25 -1.31 -1.68 -1.62 -1.50 -1.49 -1.77 -2.16
"""
).reshape(10, 3, 3)

# Montgomery, Design and Analysis of Experiments, example 13.1: 20 parts, 3 operators, 2 trials.
MONTGOMERY = numbers(
    "21 20 20 20 19 21|24 23 24 24 23 24|20 21 19 21 20 22|27 27 28 26 27 28|19 18 19 18 18 21|23 21 24 21 23 22|"
    "22 21 22 24 22 20|19 17 18 20 19 18|24 23 25 23 24 24|25 23 26 25 24 25|21 20 20 20 21 20|18 19 17 19 18 19|"
    "23 25 25 25 25 25|24 24 23 25 24 25|29 30 30 28 31 30|26 26 25 26 25 27|20 20 19 20 20 20|19 21 19 19 21 23|"
    "25 26 25 24 25 25|19 19 18 17 19 17"
).reshape(20, 3, 2)

# Houf and Berman 1988, as in Burdick, Borror and Montgomery 2003, J. Qual. Technol. 35:342: 10 parts, 3 operators,
# 3 trials (from memory; the data give the published analysis of variance).
HOUF_BERMAN = numbers(
    "37 38 37 41 41 40 41 42 41|42 41 43 42 42 42 43 42 43|30 31 31 31 31 31 29 30 28|42 43 42 43 43 43 42 42 42|"
    "28 30 29 29 30 29 31 29 29|42 42 43 45 45 45 44 46 45|25 26 27 28 28 30 29 27 27|40 40 40 43 42 42 43 43 41|"
    "25 25 25 27 29 28 26 26 26|35 34 34 35 35 34 35 34 35"
).reshape(10, 3, 3)


def _linearity() -> tuple[np.ndarray, np.ndarray]:
    readings = (
        "2.7 2.5 2.4 2.5 2.7 2.3 2.5 2.5 2.4 2.4 2.6 2.4",
        "5.1 3.9 4.2 5.0 3.8 3.9 3.9 3.9 3.9 4.0 4.1 3.8",
        "5.8 5.7 5.9 5.9 6.0 6.1 6.0 6.1 6.4 6.3 6.0 6.1",
        "7.6 7.7 7.8 7.7 7.8 7.8 7.8 7.7 7.8 7.5 7.6 7.7",
        "9.1 9.3 9.5 9.3 9.4 9.5 9.5 9.5 9.6 9.2 9.3 9.4",
    )
    value = np.array([float(word) for line in readings for word in line.split()])
    return np.repeat([2.0, 4.0, 6.0, 8.0, 10.0], 12), value


HANDBOOK_LINEARITY = _linearity()
"""AIAG, Measurement Systems Analysis, linearity example (from memory): reference values and readings, (60,) each."""
