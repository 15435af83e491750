#!/usr/bin/env python3
"""Writes tests/data/turned.heic and tests/data/cut-out.heic with pillow-heif (1.8.1, PyPI; libheif 1.23.6, x265 4.3):
four colored quarters of 288 x 192 pixels in tiles, as phones store them, lying and turned by the file; and a cut-out
rectangle.
usage: phone_picture.py FOLDER
"""
import sys
import pillow_heif
from PIL import Image

pillow_heif.register_heif_opener()
folder = sys.argv[1]
quarters = Image.new('RGB', (288, 192))
for i, color in enumerate([(200, 40, 40), (40, 160, 60), (50, 70, 190), (235, 230, 220)]):
    quarters.paste(color, (144 * (i % 2), 96 * (i // 2), 144 * (i % 2) + 144, 96 * (i // 2) + 96))
exif = Image.Exif()
exif[0x0112] = 6
lying = quarters.rotate(90, expand=True)
pillow_heif.from_pillow(lying).save(f'{folder}/turned.heic', quality=90, tile_size=128, exif=exif.tobytes())
cut_out = Image.new('RGBA', (96, 64), (0, 0, 0, 0))
cut_out.paste((200, 40, 40, 255), (32, 16, 80, 48))
cut_out.save(f'{folder}/cut-out.heic', quality=-1)
