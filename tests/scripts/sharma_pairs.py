#!/usr/bin/env python3
"""Writes tests/data/sharma2005.csv: the 34 test pairs of Sharma, Wu and Dalal (2005), "The CIEDE2000 color-difference
formula: implementation notes, supplementary test data, and mathematical observations", table 1.

33 of them are taken from the test suite of the package colour-science (0.4.7, PyPI), which leaves out pair 14 (its sign
depends on rounding); pair 14 is from memory of the table.
usage: sharma_pairs.py > tests/data/sharma2005.csv
"""
import ast, os, re
import colour

path = os.path.join(os.path.dirname(colour.__file__), 'difference', 'tests', 'test_delta_e.py')
text = open(path).read()
body = text[text.index('def test_delta_E_CIE2000_Sharma2004'):]
arrays = [ast.literal_eval(m) for m in re.findall(r'np\.array\(\s*(\[.*?\])\s*\)', body, re.S)][:3]
first, second, differences = arrays
rows = list(zip(first, second, differences))
rows.insert(13, ([50.0, -0.0010, 2.4900], [50.0, 0.0010, -2.4900], 4.8045))
print('l1,a1,b1,l2,a2,b2,ciede2000')
for p, q, d in rows:
    print(','.join(f'{v:.4f}' for v in [*p, *q, d]))
