#!/usr/bin/env python3
"""Writes tests/data/poisson.csv: Poisson's equation -(u_xx + u_yy) = 4 on pixels of 0.2 mm over the filled horse of
tests/data/horse.png (see shape_values.py), by spsolve of scipy.sparse.linalg (1.17.1, PyPI).

Five-point differences. Zero half a pixel beyond the silhouette; no flux into the silhouette's columns from 260 on, which
are taken as covered; held at 3 mm2 on the pixels of row 100 between columns 120 and 160.
Columns: x, y, u in mm2, at every 211th pixel of the form.
usage: poisson_values.py FOLDER
"""
import pathlib
import sys
import numpy as np
from scipy.ndimage import binary_fill_holes
from scipy.sparse import lil_matrix
from scipy.sparse.linalg import spsolve
from skimage import io

stored = pathlib.Path(__file__).parent.parent / 'data' / 'horse.png'
horse = binary_fill_holes(io.imread(stored) > 127)
height, width = horse.shape
rows, columns = np.mgrid[:height, :width]
covered = horse & (columns >= 260)
held = horse & (rows == 100) & (columns >= 120) & (columns < 160)
form = horse & ~covered & ~held
number = -np.ones(horse.shape, int)
number[form] = np.arange(form.sum())
matrix = lil_matrix((form.sum(), form.sum()))
right = np.full(form.sum(), 4 * 0.2 ** 2)
for y, x in zip(*np.nonzero(form)):
    k = number[y, x]
    for v, u in ((y, x + 1), (y, x - 1), (y + 1, x), (y - 1, x)):
        inside = 0 <= v < height and 0 <= u < width
        if not inside or not horse[v, u]:
            matrix[k, k] += 2
        elif form[v, u]:
            matrix[k, k] += 1
            matrix[k, number[v, u]] -= 1
        elif held[v, u]:
            matrix[k, k] += 1
            right[k] += 3
solution = spsolve(matrix.tocsc(), right)
with open(f'{sys.argv[1]}/poisson.csv', 'w') as out:
    print('x,y,u', file=out)
    for y, x in list(zip(*np.nonzero(form)))[::211]:
        print(f'{x},{y},{solution[number[y, x]]:.7f}', file=out)
