#!/usr/bin/env python3
"""Looks at a plan's folder as a reader of plan.json would (schema version 3). Standard library only."""
import argparse, json, os, struct, sys, zlib


def png(path):
    """Width, height, bit depth and, for gray pictures, the raw rows (filters undone)."""
    data = open(path, 'rb').read()
    assert data[:8] == b'\x89PNG\r\n\x1a\n', path
    at, body, head = 8, b'', None
    while at < len(data):
        size, kind = struct.unpack('>I4s', data[at:at + 8])
        chunk = data[at + 8:at + 8 + size]
        if kind == b'IHDR':
            head = struct.unpack('>IIBBBBB', chunk)
        if kind == b'IDAT':
            body += chunk
        at += 12 + size
    width, height, depth, color = head[:4]
    if color != 0:
        return width, height, depth, None
    bpp, raw = depth // 8, zlib.decompress(body)
    stride, rows, before = width * bpp, [], bytearray(width * bpp)
    for y in range(height):
        kind, row = raw[y * (stride + 1)], bytearray(raw[y * (stride + 1) + 1:(y + 1) * (stride + 1)])
        for i in range(stride):
            left = row[i - bpp] if i >= bpp else 0
            up, corner = before[i], before[i - bpp] if i >= bpp else 0
            if kind == 1:
                add = left
            elif kind == 2:
                add = up
            elif kind == 3:
                add = (left + up) // 2
            elif kind == 4:
                p = left + up - corner
                add = min((left, up, corner), key=lambda v: abs(p - v))
            else:
                add = 0
            row[i] = (row[i] + add) & 255
        rows.append(bytes(row))
        before = row
    return width, height, depth, rows


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument('folder')
    ap.add_argument('--sections', nargs=2, type=int)
    ap.add_argument('--trace-mm', nargs=2, type=float)
    ap.add_argument('--most-delta-e', type=float)
    ap.add_argument('--all-nib-wide', action='store_true')
    a = ap.parse_args()
    plan = json.load(open(os.path.join(a.folder, 'plan.json')))
    assert (plan['schema'], plan['schema_version']) == ('penstrata-plan', 3)
    found = sorted(os.path.relpath(os.path.join(d, f), a.folder) for d, _, fs in os.walk(a.folder) for f in fs)
    assert found == plan['files'], (found, plan['files'])
    f = plan['figures']
    print(os.path.basename(a.folder), f)
    assert a.sections[0] <= f['sections'] <= a.sections[1]
    assert a.trace_mm[0] <= f['trace_mm'] <= a.trace_mm[1]
    assert f['mean_delta_e'] <= a.most_delta_e
    assert not a.all_nib_wide or f['narrowest_mm'] >= plan['nib_mm']
    assert len(plan['sections']) == f['sections']
    # In the order in which pens are picked up; a first coat that finishes nothing is shown by a mark, and numbered last.
    numbers = [n for n in plan['numbers'] if n['number'] > 0]
    shown = [n['number'] for n in numbers if n['finished'] > 0]
    coats = [n['number'] for n in numbers if n['finished'] == 0]
    assert shown == list(range(1, len(shown) + 1)), shown
    assert sorted(coats) == list(range(len(shown) + 1, len(numbers) + 1)), coats
    size = tuple(round(v / plan['mm_per_px']) for v in plan['size_mm'])
    for name in ['sections.png', *(f'steps/{s}.png' for s in ('reference', 'lines', 'cells', 'hues', 'bands', 'flat'))]:
        assert png(os.path.join(a.folder, name))[:2] == size, name
    width, height, depth, rows = png(os.path.join(a.folder, 'sections.png'))
    assert depth == 16
    area = {}
    for row in rows:
        for v in struct.unpack(f'>{width}H', row):
            area[v] = area.get(v, 0) + 1
    for s in plan['sections']:
        if s['number'] > 0:
            mm2 = area.pop(s['id']) * plan['mm_per_px'] ** 2
            assert abs(mm2 - s['area_mm2']) < 0.02, s
    assert set(area) <= {0}, area


if __name__ == '__main__':
    sys.exit(main())
