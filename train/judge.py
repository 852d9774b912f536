"""Compares what a head said with the truth.

Takes: the likeliest unit of each frame. Gives: the units said, and how far two rows of units are apart.
"""
import numpy as np


def best_path(path):
    """Repeats folded and blanks left out."""
    return [int(u) for i, u in enumerate(path) if u and (i == 0 or u != path[i - 1])]


def distance(a, b):
    row = np.arange(len(b) + 1)
    for i, x in enumerate(a, 1):
        last, row = row, np.empty_like(row)
        row[0] = i
        for j, y in enumerate(b, 1):
            row[j] = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (x != y))
    return int(row[-1])
