#!/usr/bin/env python3
"""Writes tests/data/chart.csv: the 24 patches of a color chart as sRGB, from the reference values that colour-science
(0.4.7, PyPI) has for it ("ColorChecker24 - After November 2014", CIE xyY under D50), brought to D65 by Bradford's transform.
Where a patch lies outside of sRGB its channel is cut off.
usage: chart_values.py FOLDER
"""
import pathlib
import sys

import colour
import numpy as np

chart = colour.CCS_COLOURCHECKERS['ColorChecker24 - After November 2014']
with open(pathlib.Path(sys.argv[1]) / 'chart.csv', 'w') as out:
    print('patch,r,g,b', file=out)
    for number, xyY in enumerate(chart.data.values(), 1):
        rgb = colour.XYZ_to_sRGB(
            colour.xyY_to_XYZ(xyY), illuminant=chart.illuminant, chromatic_adaptation_transform='Bradford'
        )
        r, g, b = np.clip(np.round(255 * rgb), 0, 255).astype(int)
        print(f'{number},{r},{g},{b}', file=out)
