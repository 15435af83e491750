#!/usr/bin/env python3
"""Writes tests/data/lab.csv: sRGB colors and their CIE L*a*b* (D65, 2 degrees) by scikit-image (0.26.0, PyPI).
usage: lab_values.py > tests/data/lab.csv
"""
import itertools
import numpy as np
from skimage.color import rgb2lab

levels = [0, 7, 51, 128, 200, 255]
print('r,g,b,l,a,b_star')
for rgb in itertools.product(levels, repeat=3):
    lab = rgb2lab(np.array(rgb, dtype=np.float64).reshape(1, 1, 3) / 255)[0, 0]
    print(','.join(map(str, rgb)) + ',' + ','.join(f'{v:.4f}' for v in lab))
