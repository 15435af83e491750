#!/usr/bin/env python3
"""Writes tests/data/cmyk.jpg and tests/data/animated.webp with Pillow (13.0.0, PyPI): four colored quarters, as a JPEG of
cyan, magenta, yellow and black, and as the first of two frames (the second is gray all over).
usage: odd_pictures.py FOLDER
"""
import sys
from PIL import Image

folder = sys.argv[1]
quarters = Image.new('RGB', (64, 64))
for i, color in enumerate([(200, 40, 40), (40, 160, 60), (50, 70, 190), (235, 230, 220)]):
    quarters.paste(color, (32 * (i % 2), 32 * (i // 2), 32 * (i % 2) + 32, 32 * (i // 2) + 32))
quarters.convert('CMYK').save(f'{folder}/cmyk.jpg', quality=95, subsampling=0)
second = Image.new('RGB', (64, 64), (128, 128, 128))
quarters.save(f'{folder}/animated.webp', save_all=True, append_images=[second], duration=200, lossless=True)
