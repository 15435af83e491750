#!/usr/bin/env python3
"""Writes tests/data/masks.csv, visible.csv and turned.csv with Shapely (2.2.0, PyPI).

masks.csv: points along the edge of what is 0.5 mm inside the outer edge of a drawn line of 0.6 mm: the outline buffered by
0.3 mm, then by -0.5 mm. Shape 0 is a smooth blob, shape 1 an L with right corners, inside and outside.
visible.csv: three stamps on each other, turned and mirrored; what of each one's area is seen, in square millimeters.
turned.csv: points along both edges of the blob's drawn line, turned and mirrored about the middle of its art.
usage: card_values.py FOLDER
"""
import sys
from math import cos, pi, sin
import numpy as np
from shapely import Polygon
from shapely.affinity import affine_transform

folder = sys.argv[1]


def blob(n=720):
    """In the middle of an art of 40 x 40 mm."""
    points = []
    for k in range(n):
        t = 2 * pi * k / n
        r = 13 + 2.5 * cos(3 * t + 0.4) + 1.2 * sin(2 * t)
        points.append((20 + r * cos(t), 20 + r * sin(t)))
    return Polygon(points)


ell = Polygon([(6, 5), (19, 5), (19, 22), (34, 22), (34, 35), (6, 35)])

with open(f'{folder}/masks.csv', 'w') as out:
    print('shape,x,y', file=out)
    for k, shape in enumerate([blob(), ell]):
        mask = shape.buffer(0.3, quad_segs=64).buffer(-0.5, quad_segs=64)
        ring = mask.exterior
        for s in np.arange(0, ring.length, 0.4):
            p = ring.interpolate(s)
            print(f'{k},{p.x:.4f},{p.y:.4f}', file=out)


def placed(shape, at, turn, mirror):
    """About the middle of an art of 40 x 40 mm: mirrored, turned clockwise (y points down), moved to `at`."""
    m = -1 if mirror else 1
    c, s = cos(turn * pi / 180), sin(turn * pi / 180)
    a, b, d, e = c * m, -s, s * m, c
    return affine_transform(shape, [a, b, d, e, at[0] - 20 * a - 20 * b, at[1] - 20 * d - 20 * e])


lines = [shape.buffer(0.3, quad_segs=64) for shape in (blob(), ell)]
stack = [
    placed(lines[1], (42, 50), 33, True),
    placed(lines[0], (58, 62), -70, False),
    placed(lines[1], (50, 80), 158, False),
]
with open(f'{folder}/visible.csv', 'w') as out:
    print('stamp,area', file=out)
    hidden = Polygon()
    for k, shape in enumerate(stack):
        print(f'{k},{shape.difference(hidden).area:.4f}', file=out)
        hidden = hidden.union(shape)

turns = [(0, False), (33, False), (-117.5, True), (90, True)]
with open(f'{folder}/turned.csv', 'w') as out:
    print('turn,mirror,ring,x,y', file=out)
    for turn, mirror in turns:
        edge = placed(blob(), (47.3, 61.8), turn, mirror).exterior.buffer(0.3, quad_segs=64)
        for ring, line in enumerate([edge.exterior, edge.interiors[0]]):
            for s in np.arange(0, line.length, 0.4):
                p = line.interpolate(s)
                print(f'{turn},{int(mirror)},{ring},{p.x:.4f},{p.y:.4f}', file=out)
