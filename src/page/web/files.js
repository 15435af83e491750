// Files that a person puts in: what they are, what they are called on the card, and how they are shown.
import { askWith, fileBytes, now } from './card.js';
import { shown } from './panel.jsx';

/** Longer side of a picture on the screen, in pixels. */
const SHOWN_PX = 1600;

export const PICTURES = 'image/*,.heic,.heif,.tif,.tiff,.webp,.bmp';
export const DRAWINGS = `.svg,.svgz,image/svg+xml,${PICTURES}`;
export const TABLES = '.csv,.tsv,.txt,text/csv';

const ending = (name) => /\.[a-z0-9]+$/i.exec(name)?.[0].toLowerCase() ?? '';

/** 'photo', 'drawing', 'pens' or 'card', by the file's name and type. */
export function kindOf(file) {
  const end = ending(file.name);
  if (end === '.zip') return 'card';
  if (['.csv', '.tsv', '.txt'].includes(end) || file.type === 'text/csv') return 'pens';
  if (end === '.svg' || end === '.svgz' || file.type === 'image/svg+xml') return 'drawing';
  return 'photo';
}

/** A name for a file on this card: plain letters, and none that is there already. */
export function nameFor(file, taken) {
  const end = ending(file.name) || '.jpg';
  const stem = file.name.slice(0, file.name.length - ending(file.name).length)
    .normalize('NFKD').replace(/[^\w-]+/g, '-').replace(/^-+|-+$/g, '').slice(0, 60) || 'picture';
  const plain = stem.toLowerCase() === 'plan' ? 'plan-picture' : stem;
  for (let n = 1; ; n += 1) {
    const name = n === 1 ? plain + end : `${plain}-${n}${end}`;
    if (!taken.includes(name)) return name;
  }
}

export const bytesOf = async (file) => new Uint8Array(await file.arrayBuffer());

const seen = new Map();

/** A picture of the card for the screen, upright: a promise of { url, width, height, fullWidth, fullHeight }. */
export function pictureOf(name) {
  const key = now.value?.files[name];
  if (!key) return Promise.reject(new Error('no such file'));
  if (!seen.has(key)) {
    const made = pictureIn(name, fileBytes(name));
    made.catch(() => seen.delete(key));
    seen.set(key, made);
  }
  return seen.get(key);
}

/** The same of any file. */
export async function pictureIn(name, data) {
  const svg = kindOf({ name }) === 'drawing';
  const blob = new Blob([data], { type: svg ? 'image/svg+xml' : '' });
  if (svg) {
    const image = new Image();
    const url = URL.createObjectURL(blob);
    image.src = url;
    await image.decode();
    return { url, width: image.naturalWidth, height: image.naturalHeight, fullWidth: image.naturalWidth, fullHeight: image.naturalHeight };
  }
  try {
    const whole = await createImageBitmap(blob);
    const scale = Math.min(1, SHOWN_PX / Math.max(whole.width, whole.height));
    const [width, height] = [whole.width, whole.height].map((v) => Math.max(1, Math.round(v * scale)));
    const canvas = new OffscreenCanvas(width, height);
    canvas.getContext('2d').drawImage(whole, 0, 0, width, height);
    const full = { fullWidth: whole.width, fullHeight: whole.height };
    whole.close();
    const small = await canvas.convertToBlob({ type: 'image/jpeg', quality: 0.9 });
    return { url: URL.createObjectURL(small), width, height, ...full };
  } catch {
    // What this browser cannot read (HEIC, TIFF), the library does.
    return shown(await askWith({ [name]: data }, 'photo', name, SHOWN_PX), 'image/jpeg');
  }
}

/** Width that an SVG drawing gives itself in millimeters, as text; null without one. */
export function widthOfSvg(data) {
  const head = new TextDecoder().decode(data.slice(0, 4096));
  const found = /<svg[^>]*\swidth\s*=\s*["']([\d.]+)(mm|cm|in)["']/i.exec(head);
  return found ? `${found[1]}${found[2]}` : null;
}

/** Hands a file to the person. */
export function save(name, data, type) {
  const url = URL.createObjectURL(data instanceof Blob ? data : new Blob([data], { type }));
  const a = Object.assign(document.createElement('a'), { href: url, download: name });
  document.body.append(a);
  a.click();
  a.remove();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}
