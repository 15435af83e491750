// The card of stamps and pieces as the job tells it: what its tables mean, and what a hand changes in them.

/** ISO 216, upright, in millimeters. */
const ISO = { A4: [210, 297], A5: [148, 210], A6: [105, 148], A7: [74, 105] };
const MM = { mm: 1, cm: 10, in: 25.4 };
/** Width of a stamp until the person says how wide it is; from memory. */
const STAMP_MM = 40;
/** The tables that say where an image's colors come from. */
const COLORS = ['reference', 'align', 'match', 'white', 'part', 'bare_cells'];

export const rounded = (v, digits = 1) => Math.round(v * 10 ** digits) / 10 ** digits;
/** Degrees from -180 to 180. */
export const turned = (degrees) => rounded(((((degrees + 180) % 360) + 360) % 360) - 180);
export const list = (names) => [names ?? []].flat();

/** Millimeters of a length as text. */
export function mm(text) {
  const found = /^\s*([\d.]+)\s*(mm|cm|in)?/.exec(text ?? '');
  return found ? Number(found[1]) * MM[found[2] ?? 'mm'] : NaN;
}

/** Width and height of a size such as "A6" or "4.25x5.5in", in millimeters; null if it is none. */
export function sizeOf(text) {
  const iso = ISO[text.trim().toUpperCase()];
  if (iso) return iso;
  const unit = /(mm|cm|in)\s*$/.exec(text)?.[1] ?? 'mm';
  const sides = text.split(/[x×]/i).map((side) => mm(/mm|cm|in/.test(side) ? side : side.trim() + unit));
  return sides.length === 2 && sides.every((v) => v > 0) ? sides : null;
}

export const isCard = (job) => typeof job.panel === 'object' && job.panel !== null;
export const panelMm = (job) => sizeOf(job.panel.size) ?? ISO.A6;
/** Stamps, then pieces: the order of the plan's images. */
export const imagesOf = (job) => [...(job.stamp ?? []), ...(job.piece ?? [])];

/** A name for every image: its own, or its drawing's, numbered where that is there already. */
export function namesOf(job) {
  const taken = imagesOf(job).map((image) => image.name).filter(Boolean);
  return imagesOf(job).map((image) => image.name ?? free(image.art.replace(/\.[^.]*$/, ''), taken));
}

/** A name that is not taken yet, and is from now on. */
function free(stem, taken) {
  let name = stem;
  for (let n = 2; taken.includes(name); n += 1) name = `${stem} ${n}`;
  taken.push(name);
  return name;
}

/** Writes every name down, so that it stays when others come and go. */
export function nameAll(job) {
  const names = namesOf(job);
  imagesOf(job).forEach((image, i) => { image.name = names[i]; });
}

/** Stamps from back to front, by index: as `over` says, and else in the order of the job. */
export function backToFront(job) {
  const stamps = job.stamp ?? [];
  const names = namesOf(job);
  const left = stamps.map((_, i) => i);
  const order = [];
  const hides = (front, behind) => list(stamps[front].over).includes(names[behind]);
  while (left.length > 0) {
    const at = left.findIndex((i) => !left.some((front) => hides(front, i)));
    order.push(...left.splice(Math.max(at, 0), 1));
  }
  return order.reverse();
}

const hasColors = (image) => Boolean(image.reference || image.part?.length);
/** Whose tables say where an image's colors come from: its own, or those of the first of the same drawing that has some. */
export const lenderOf = (job, image) => (hasColors(image) ? image : imagesOf(job).find((other) => other.art === image.art && hasColors(other)) ?? image);
/** The images that colors are told of: one for all of the same drawing that are colored alike, by their index. */
export function kinds(job) {
  const all = imagesOf(job);
  const first = (image) => all.find((other) => other.art === image.art && !hasColors(other));
  return [...new Set(all.map((image) => (hasColors(lenderOf(job, image)) ? lenderOf(job, image) : first(image))))].map((image) => all.indexOf(image));
}

/** Takes all points of an image's tables to another width of its drawing. */
function scalePoints(image, by) {
  const point = (p) => p.map((v) => rounded(v * by, 2));
  const sources = [image, ...(Array.isArray(image.reference) ? image.reference : []), ...(image.part ?? [])];
  if (image.bare_cells) image.bare_cells = image.bare_cells.map(point);
  for (const source of sources) {
    if (source.cells) source.cells = source.cells.map(point);
    if (Array.isArray(source.match)) for (const pair of source.match) pair.art = point(pair.art);
  }
}

/** Makes a drawing as wide as that, with all that is told of places in it. */
export function resize(image, width) {
  const by = mm(width) / mm(image.width);
  image.width = width;
  if (!(by > 0) || !Number.isFinite(by)) return;
  scalePoints(image, by);
  mapHand(image, (points) => points.map((p) => p.map((v) => rounded(v * by, 2))));
}

/** Gives an image the colors of another of the same drawing. */
export function lend(from, to) {
  for (const key of COLORS) if (from[key] !== undefined) to[key] = structuredClone(from[key]);
  scalePoints(to, mm(to.width) / mm(from.width));
}

/** What a hand did to sections, all told in points: `change` gets those of one thing, and may drop it with null. */
export function mapHand(job, change) {
  const kept = (key, made) => {
    const all = (job[key] ?? []).map(made).filter(Boolean);
    if (all.length > 0) job[key] = all; else delete job[key];
  };
  kept('bare', (point) => change([point])?.[0]);
  kept('merge', change);
  kept('cut', (cut) => { const line = change(cut.line); return line && { ...cut, line }; });
  kept('pen', (pen) => { if (!pen.at) return pen; const at = change(pen.at); return at && { ...pen, at }; });
}

/** From millimeters of an art of this size to where it lies. */
export const placement = ([w, h], { at, turn = 0, mirror = false }) => new DOMMatrix()
  .translate(at[0], at[1]).rotate(turn).scale(mirror ? -1 : 1, 1).translate(-w / 2, -h / 2);

/** A place for one more thing: the middle, a little off what lies there. */
export function freePlace(job) {
  const [w, h] = panelMm(job);
  const taken = [...(job.stamp ?? []).map((s) => s.at), ...(job.piece ?? []).flatMap((p) => p.at ?? [])];
  for (let n = 0; ; n += 1) {
    const at = [rounded(w / 2 + 8 * n, 1), rounded(h / 2 + 8 * n, 1)];
    if (n > 8 || !taken.some((t) => Math.hypot(t[0] - at[0], t[1] - at[1]) < 4)) return at;
  }
}

/** A stamp's or piece's width on this panel: its own if it says one that fits. */
export function widthFor(job, own) {
  const most = Math.min(...panelMm(job));
  return own && mm(own) <= most ? own : `${Math.min(STAMP_MM, Math.floor(most / 2))}mm`;
}

/** Makes the job's one drawing, `high` times as high as wide, the first stamp of a card. */
export function toCard(job, high) {
  const width = mm(job.width);
  const size = ['A6', 'A5', 'A4'].find((name) => ISO[name][0] >= width && ISO[name][1] >= width * high) ?? 'A4';
  const stamp = { name: job.art.replace(/\.[^.]*$/, ''), art: job.art, width: job.width, at: ISO[size].map((v) => v / 2) };
  for (const key of COLORS) if (job[key] !== undefined) stamp[key] = job[key];
  // What a hand did was told from the drawing's own corner.
  const left = [ISO[size][0] / 2 - width / 2, ISO[size][1] / 2 - (width * high) / 2];
  mapHand(job, (points) => points.map((p) => p.map((v, k) => rounded(v + left[k], 2))));
  for (const key of ['art', 'width', 'corners', 'background', 'match_file', ...COLORS]) delete job[key];
  job.panel = { size };
  job.stamp = [stamp];
}

/** Adds a stamp of a drawing; its index. */
export function addStamp(job, image) {
  const taken = namesOf(job);
  const over = list(image.over);
  job.stamp = [...(job.stamp ?? []), { ...image, name: free(image.name ?? image.art.replace(/\.[^.]*$/, ''), taken), at: image.at ?? freePlace(job), ...(over.length > 0 ? { over } : {}) }];
  return job.stamp.length - 1;
}

/** Adds a piece of a drawing, glued on once; its index. */
export function addPiece(job, { art, width, name, ...rest }) {
  const taken = namesOf(job);
  job.piece = [...(job.piece ?? []), { ...rest, name: free(name ?? `${art.replace(/\.[^.]*$/, '')} piece`, taken), art, width, at: [freePlace(job)] }];
  return job.piece.length - 1;
}

/** Takes a stamp or a piece away; its colors go to the next one of the same drawing that has none. */
export function removeImage(job, kind, i) {
  const [gone] = job[kind].splice(i, 1);
  if (job[kind].length === 0) delete job[kind];
  for (const stamp of job.stamp ?? []) setOver(stamp, list(stamp.over).filter((name) => name !== gone.name));
  const heir = imagesOf(job).find((image) => image.art === gone.art && !hasColors(lenderOf(job, image)));
  if (heir) lend(gone, heir);
}

export function setOver(stamp, names) {
  if (names.length > 0) stamp.over = names; else delete stamp.over;
}

/** Says that a stamp lies in front of these others, and none of them in front of it. */
export function bringOver(job, i, others) {
  const me = job.stamp[i];
  for (const k of others) setOver(job.stamp[k], list(job.stamp[k].over).filter((name) => name !== me.name));
  setOver(me, [...new Set([...list(me.over), ...others.map((k) => job.stamp[k].name)])]);
}

/** Calls a stamp or a piece otherwise, wherever it is named. */
export function rename(job, kind, i, name) {
  const image = job[kind][i];
  for (const stamp of job.stamp ?? []) setOver(stamp, list(stamp.over).map((other) => (other === image.name ? name : other)));
  image.name = name;
}
