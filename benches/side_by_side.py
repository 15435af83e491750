#!/usr/bin/env python3
"""penstrata beside a plain pipeline of OpenCV and scikit-image, on the same pictures on the same machine in turn.

usage: python3 benches/side_by_side.py [RUNS]        (build first: cargo build --release)
needs: the packages of tests/scripts/requirements.txt

The plain pipeline is what a general-purpose stack gives without further thought: decode, resize to the panel at 10 pixels
per millimeter, L*a*b*, k-means with as many clusters as penstrata uses pens, a median of 9 pixels, pieces below 4 mm2 to
their commonest neighbor, contours and numbers drawn, PNG. Both run as processes of their own, turn about; times are
medians, memory is the largest peak. The plain pipeline's time leaves out the start of Python and its imports. Quality is measured here, the same way for both, on the pixels that both color:

  sections   connected pieces
  trace      length of the borders between colors, by counting pixel edges (both overestimate slanted lines alike)
  error      mean CIEDE2000 between the photo and every color's own mean; `pens` with the pens' colors instead
  narrowest  diameter of the largest circle in the narrowest piece
  beside     share of the border within 0.8 mm of a drawn line, but not ending on it
"""
import json
import os
import pathlib
import statistics
import subprocess
import sys
import tempfile
import time

import cv2
import numpy as np

if sys.argv[1:2] != ['--plain']:
    # The plain pipeline is spared what only the measuring needs.
    from scipy import ndimage
    from skimage import data
    from skimage.color import deltaE_ciede2000, lab2rgb, rgb2lab

ROOT = pathlib.Path(__file__).resolve().parent.parent
MM_PER_PX = 0.1


def plain(photo, out, width_px, k):
    """The plain pipeline; writes labels.png (1 to k), overlay.png and preview.png."""
    bgr = cv2.imread(photo)
    height = round(bgr.shape[0] * width_px / bgr.shape[1])
    small = cv2.resize(bgr, (width_px, height), interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_BGR2Lab)
    pixels = lab.reshape(-1, 3)
    picked = np.random.default_rng(1).choice(len(pixels), min(60_000, len(pixels)), replace=False)
    cv2.setRNGSeed(1)
    _, _, centers = cv2.kmeans(pixels[picked], k, None, (3, 40, 1e-3), 3, cv2.KMEANS_PP_CENTERS)
    label = np.stack([((lab - c) ** 2).sum(2) for c in centers]).argmin(0).astype(np.uint8)
    label = cv2.medianBlur(label, 9)
    least = 4.0 / MM_PER_PX**2
    for c in range(k):
        count, piece, stats, _ = cv2.connectedComponentsWithStats((label == c).astype(np.uint8), connectivity=4)
        for i in range(1, count):
            x, y, w, h, size = stats[i]
            if size >= least:
                continue
            window = np.s_[max(0, y - 1):y + h + 1, max(0, x - 1):x + w + 1]
            mine = piece[window] == i
            around = label[window][(cv2.dilate(mine.astype(np.uint8), np.ones((3, 3))) > 0) & ~mine]
            if len(around):
                label[window][mine] = np.bincount(around).argmax()
    overlay = np.full(small.shape, 255, np.uint8)
    for c in range(k):
        mask = (label == c).astype(np.uint8)
        contours, _ = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
        cv2.drawContours(overlay, contours, -1, (180, 180, 180), 1)
        _, _, stats, middles = cv2.connectedComponentsWithStats(mask, connectivity=4)
        for x, y in middles[1:]:
            cv2.putText(overlay, str(c + 1), (int(x), int(y)), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (90, 90, 90), 1)
    preview = cv2.cvtColor(centers[label].astype(np.float32), cv2.COLOR_Lab2BGR)
    cv2.imwrite(f'{out}/overlay.png', overlay)
    cv2.imwrite(f'{out}/preview.png', (np.clip(preview, 0, 1) * 255).astype(np.uint8))
    cv2.imwrite(f'{out}/labels.png', label + 1)


def run(command):
    """Seconds, peak memory in MiB, and what one process printed."""
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    peak = 0
    # The kernel forgets a process once it has been waited for: read its peak while it runs.
    while process.poll() is None:
        try:
            status = pathlib.Path(f'/proc/{process.pid}/status').read_text()
            peak = max([peak, *(int(line.split()[1]) for line in status.splitlines() if line.startswith('VmHWM'))])
        except OSError:
            pass
        time.sleep(0.0005)
    seconds = time.perf_counter() - start
    if process.returncode:
        sys.exit(f'failed: {" ".join(map(str, command))}')
    return seconds, peak / 1024, process.stdout.read()


def quality(color, reference, ink, pens=None):
    """The figures of one plan. `color`: class per pixel, 0 where nothing is colored."""
    lab = rgb2lab(reference)
    inside = color > 0
    means = np.zeros_like(lab)
    piece = np.zeros(color.shape, int)
    for c in np.unique(color[inside]):
        mine = color == c
        means[mine] = lab[mine].mean(0)
        found, count = ndimage.label(mine)
        piece[mine] = found[mine] + piece.max()
    edge = np.zeros(color.shape, bool)
    length = 0
    for axis in (0, 1):
        a, b = (np.s_[1:], np.s_[:-1]) if axis == 0 else (np.s_[:, 1:], np.s_[:, :-1])
        step = (color[a] != color[b]) & inside[a] & inside[b]
        length += step.sum()
        edge[b] |= step
    widths = ndimage.maximum(ndimage.distance_transform_edt(np.pad(piece_interior(piece), 1))[1:-1, 1:-1], piece, np.unique(piece[piece > 0]))
    # A border pixel is beside a line if it is near one and the border's next ones along it are, too.
    near = ndimage.distance_transform_edt(~ink) * MM_PER_PX <= 0.8 if ink.any() else np.zeros_like(ink)
    ends = ndimage.binary_dilation(edge & ndimage.binary_dilation(ink, iterations=2), iterations=10)
    beside = (edge & near & ~ends).sum() / max(1, edge.sum())
    error = deltaE_ciede2000(lab, rgb2lab(np.clip(lab2rgb(means), 0, 1)))[inside].mean()
    figures = {
        'sections': len(np.unique(piece[piece > 0])),
        'trace cm': length * MM_PER_PX / 10,
        'error': error,
        'narrowest mm': (2 * widths.min() + 1) * MM_PER_PX,
        'beside %': 100 * beside,
    }
    if pens is not None:
        figures['pens'] = deltaE_ciede2000(lab, rgb2lab(pens))[inside].mean()
    return figures


def piece_interior(piece):
    """True where a pixel and its four neighbors are of one piece."""
    same = piece > 0
    same[1:] &= piece[1:] == piece[:-1]
    same[:-1] &= piece[1:] == piece[:-1]
    same[:, 1:] &= piece[:, 1:] == piece[:, :-1]
    same[:, :-1] &= piece[:, 1:] == piece[:, :-1]
    return same


def pictures(folder):
    """Name, photo, art (or None) and width in millimeters."""
    cat = folder / 'chelsea.png'
    cv2.imwrite(str(cat), data.chelsea()[..., ::-1])
    demo = cv2.imread(str(ROOT / 'demo/reference.jpg'))
    large = folder / 'demo-12mp.jpg'
    grown = cv2.resize(demo, (4000, 3000), interpolation=cv2.INTER_LINEAR).astype(np.int16)
    grown += np.random.default_rng(2).normal(0, 4, grown.shape).astype(np.int16)
    cv2.imwrite(str(large), np.clip(grown, 0, 255).astype(np.uint8))
    return [
        ('coffee', ROOT / 'tests/data/coffee.png', None, 110),
        ('chelsea', cat, None, 110),
        ('demo', ROOT / 'demo/reference.jpg', ROOT / 'demo/outline.svg', 110),
        ('demo, 12 MP', large, ROOT / 'demo/outline.svg', 110),
    ]


def main():
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    program = ROOT / 'target/release/penstrata'
    if not program.exists():
        sys.exit('build first: cargo build --release')
    head = ['picture', 'who', 'ms', 'MiB', 'sections', 'trace cm', 'error', 'pens', 'narrowest mm', 'beside %']
    print('| ' + ' | '.join(head) + ' |')
    print('|' + '---|' * len(head))
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for title, photo, art, width_mm in pictures(folder):
            ours, theirs = folder / 'ours', folder / 'theirs'
            theirs.mkdir(exist_ok=True)
            command = [program, 'plan', '--reference', photo, '--width', f'{width_mm}mm', '--pens', ROOT / 'demo/pens.csv', '--out', ours]
            if art:
                command += ['--art', art]
            # Once with the pictures of the stages, to measure on.
            run([*command, '--steps'])
            plan = json.loads((ours / 'plan.json').read_text())
            ids = cv2.imread(str(ours / 'sections.png'), cv2.IMREAD_UNCHANGED).astype(int)
            number = np.zeros(ids.max() + 1, int)
            for s in plan['sections']:
                if s['id'] <= ids.max():
                    number[s['id']] = s['number']
            color = number[ids]
            step = lambda file: cv2.imread(str(ours / f'steps/{file}.png'))[..., ::-1] / 255
            reference, flat, ink = step('reference'), step('flat'), step('lines')[..., 0] > 0.5
            k = len(np.unique(color[color > 0]))
            other = [sys.executable, __file__, '--plain', str(photo), str(theirs), str(ids.shape[1]), str(k)]
            times = {'penstrata': [], 'plain': []}
            for _ in range(runs):
                times['penstrata'].append(run(command)[:2])
                _, peak, printed = run(other)
                times['plain'].append((float(printed), peak))
            label = cv2.imread(str(theirs / 'labels.png'), 0).astype(int)
            label = cv2.resize(label.astype(np.uint8), ids.shape[::-1], interpolation=cv2.INTER_NEAREST).astype(int)
            label[color == 0] = 0
            figures = {'penstrata': quality(color, reference, ink, flat), 'plain': quality(label, reference, ink)}
            for who in ('penstrata', 'plain'):
                f = figures[who]
                row = [
                    title, who,
                    f'{statistics.median(t for t, _ in times[who]) * 1000:.0f}',
                    f'{max(m for _, m in times[who]):.0f}',
                    f['sections'], f'{f["trace cm"]:.0f}', f'{f["error"]:.2f}',
                    f'{f["pens"]:.2f}' if 'pens' in f else '', f'{f["narrowest mm"]:.1f}', f'{f["beside %"]:.1f}',
                ]
                print('| ' + ' | '.join(map(str, row)) + ' |', flush=True)


if __name__ == '__main__':
    if sys.argv[1:2] == ['--plain']:
        begun = time.perf_counter()
        plain(sys.argv[2], sys.argv[3], int(sys.argv[4]), int(sys.argv[5]))
        print(time.perf_counter() - begun)
    else:
        main()
