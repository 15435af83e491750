#!/usr/bin/env python3
"""Writes tests/data/perspective.csv and tests/data/spline.csv.

perspective.csv: corners in a photo (clockwise from the top left), size of the flat panel, a place on it, and where it is
in the photo by getPerspectiveTransform of opencv-python-headless (5.0.0, PyPI).
spline.csv: case, stiffness, then pairs (kind 0: art x, y, photo x, y) and places (kind 1) with their values by
RBFInterpolator(kernel='thin_plate_spline', degree=1) of SciPy (1.17.1, PyPI).
usage: geometry_values.py FOLDER
"""
import sys
import cv2
import numpy as np
from scipy.interpolate import RBFInterpolator

folder = sys.argv[1]
rng = np.random.default_rng(20)
panels = [
    ([(380, 300), (2860, 420), (2780, 2180), (520, 2090)], (148, 105)),
    ([(1200, 150), (3010, 900), (2400, 2700), (310, 1800)], (148, 105)),
    ([(100, 90), (900, 130), (880, 1390), (60, 1210)], (105, 148)),
]
with open(f'{folder}/perspective.csv', 'w') as out:
    print('x0,y0,x1,y1,x2,y2,x3,y3,width,height,x,y,photo_x,photo_y', file=out)
    for corners, (w, h) in panels:
        flat = np.array([(0, 0), (w, 0), (w, h), (0, h)], np.float32)
        matrix = cv2.getPerspectiveTransform(flat, np.array(corners, np.float32))
        for _ in range(12):
            x, y = rng.uniform(0, w), rng.uniform(0, h)
            u, v, k = matrix @ (x, y, 1)
            values = [*np.array(corners).ravel(), w, h, f'{x:.4f}', f'{y:.4f}', f'{u / k:.4f}', f'{v / k:.4f}']
            print(','.join(map(str, values)), file=out)

with open(f'{folder}/spline.csv', 'w') as out:
    print('case,stiffness,kind,art_x,art_y,photo_x,photo_y', file=out)
    for case, (count, stiffness) in enumerate([(4, 0.0), (7, 0.0), (12, 1.0), (20, 25.0)]):
        art = rng.uniform(0, 100, (count, 2)).round(2)
        photo = (art @ [[11, 2], [-1.5, 12]] + (300, 150) + rng.normal(0, 40, (count, 2))).round(2)
        spline = RBFInterpolator(art, photo, kernel='thin_plate_spline', degree=1, smoothing=stiffness)
        places = rng.uniform(-10, 110, (15, 2)).round(2)
        for kind, rows in ((0, zip(art, photo)), (1, zip(places, spline(places)))):
            for a, p in rows:
                print(f'{case},{stiffness},{kind},{a[0]:.2f},{a[1]:.2f},{p[0]:.5f},{p[1]:.5f}', file=out)
