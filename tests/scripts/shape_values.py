#!/usr/bin/env python3
"""Writes tests/data/page.png, page_local.png, horse.png and horse.csv, from two pictures that scikit-image (0.26.0, PyPI)
comes with.

page.png: a page of a book under uneven light. page_local.png: its ink (black) by skimage.filters.threshold_local with
block size 35 and offset 10, the values of that function's own example.
horse.png: a silhouette, with holes punched into it by us. horse.csv: pixels inside after binary_fill_holes, then x, y and
the squared distance to the outside by distance_transform_edt, both of scipy.ndimage (1.17.1, PyPI), at every 23rd pixel
of the filled silhouette.
usage: shape_values.py FOLDER
"""
import sys
import numpy as np
from scipy.ndimage import binary_fill_holes, distance_transform_edt
from skimage import data, filters, io

folder = sys.argv[1]
page = data.page()
io.imsave(f'{folder}/page.png', page, check_contrast=False)
ink = page <= filters.threshold_local(page, 35, offset=10)
io.imsave(f'{folder}/page_local.png', np.where(ink, 0, 255).astype(np.uint8), check_contrast=False)

horse = ~data.horse().astype(bool)
y, x = np.mgrid[:horse.shape[0], :horse.shape[1]]
for cx, cy, r in [(180, 150, 9), (230, 140, 5), (120, 130, 3)]:
    horse &= (x - cx) ** 2 + (y - cy) ** 2 > r * r
io.imsave(f'{folder}/horse.png', np.where(horse, 255, 0).astype(np.uint8), check_contrast=False)
filled = binary_fill_holes(horse)
squared = np.rint(distance_transform_edt(filled) ** 2).astype(int)
with open(f'{folder}/horse.csv', 'w') as out:
    print('x,y,squared', file=out)
    print(f'-1,-1,{filled.sum()}', file=out)
    for i in np.flatnonzero(filled)[::23]:
        print(f'{i % horse.shape[1]},{i // horse.shape[1]},{squared.flat[i]}', file=out)
