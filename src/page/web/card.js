// The card on the table: its job and files, what was before and after each change, and the plan made from it.
import { batch, computed, signal } from '@preact/signals';
import { desk, Told } from './desk.js';
import { planned } from './job.js';
import { imagesOf, isCard } from './stamps.js';
import * as store from './store.js';
import { thumbnail } from './thumbnail.js';

export const PENS = 'pens.csv';
export const OUT = 'plan';

/** What is on the table; null on the shelf of cards. { id, name } */
export const card = signal(null);
/** The newest choices: { job, files: { name: key }, about }. `about` says in words what the change was. */
export const now = signal(null);
const past = signal([]);
const future = signal([]);
/** Bytes by key; a key never changes its bytes. */
let bytes = new Map();
/** The small picture on the shelf: bytes of a PNG. */
let picture = null;

export const step = signal('bring');
/** The plan made last, with its curves; null before. */
export const plan = signal(null);
/** { stage } while the library works. */
export const busy = signal(null);
/** { what, next } of the last plan. */
export const trouble = signal(null);
/** A line for a moment; { text, undo }. */
export const said = signal(null);
export const storageSays = signal(null);

export const job = computed(() => now.value?.job ?? null);
export const canUndo = computed(() => past.value.length > 0);
export const canRedo = computed(() => future.value.length > 0);
export const undoes = computed(() => now.value?.about ?? '');
export const redoes = computed(() => future.value.at(-1)?.about ?? '');

const id = () => crypto.randomUUID?.() ?? `${Date.now()}-${Math.random().toString(36).slice(2)}`;

export const fileBytes = (name) => bytes.get(now.value?.files[name]);
const filesNow = () => Object.fromEntries(Object.entries(now.value.files).map(([name, key]) => [name, bytes.get(key)]));

/** A call to the library with this card's files. */
export const ask = (method, ...args) => desk.call(method, args, { files: now.value ? filesNow() : {} });

/** The same with more files (name to bytes) that are none of the card's. */
export const askWith = (more, method, ...args) => desk.call(method, args, { files: { ...(now.value ? filesNow() : {}), ...more } });

const paper = () => now.value.job.paper ?? '#ffffff';
/** What photos of swatch sheets (name to bytes) say of this card's pens. */
export const measure = (photos) => askWith(photos, 'measure', PENS, Object.keys(photos), paper());
/** What a photo of a scrap says of some pens: `patches` are [{ pen, at }], in its pixels. */
export const measureScrap = (name, data, patches) => askWith({ [name]: data }, 'measureScrap', PENS, name, patches, paper());

const empty = () => ({ pens: PENS, out: OUT });

/** Whether there is enough for a plan. */
export const ready = computed(() => {
  const { job: j, files } = now.value ?? {};
  if (!j || !files[PENS]) return false;
  const hasColor = (of) => of.reference || of.part?.length > 0;
  if (isCard(j)) return imagesOf(j).some(hasColor);
  return Boolean(hasColor(j) && (j.width || j.panel) && (j.reference || j.art));
});

/** Begins a card; `files` is name to bytes. */
export function begin(name, given = empty(), files = {}) {
  const keys = {};
  const fresh = new Map();
  for (const [file, data] of Object.entries(files)) {
    keys[file] = id();
    fresh.set(keys[file], data);
  }
  picture = null;
  lay({ id: id(), name }, { job: given, files: keys, about: '' }, [], [], fresh, 'bring');
  save();
  replan();
}

function lay(which, state, before, after, data, where) {
  batch(() => {
    bytes = data;
    card.value = which;
    now.value = state;
    past.value = before;
    future.value = after;
    step.value = where;
    plan.value = null;
    trouble.value = null;
    said.value = null;
  });
}

export async function open(which) {
  const kept = await store.load(which);
  if (!kept) return;
  picture = kept.picture ?? null;
  lay({ id: kept.id, name: kept.name }, kept.now, kept.past, kept.future, kept.bytes, kept.step);
  replan();
}

export async function putAway() {
  await save(true);
  batch(() => {
    card.value = null;
    now.value = null;
    plan.value = null;
    trouble.value = null;
  });
}

export function rename(name) {
  card.value = { ...card.value, name };
  save();
}

/** Changes the card. `change` gets a copy of the job to change, and may return files (name to bytes, null removes). */
export function edit(about, change) {
  const next = structuredClone(now.value.job);
  const files = { ...now.value.files };
  const given = change(next) ?? {};
  for (const [name, data] of Object.entries(given)) {
    if (data === null) delete files[name];
    else {
      files[name] = id();
      bytes.set(files[name], data);
    }
  }
  batch(() => {
    past.value = [...past.value, now.value];
    future.value = [];
    now.value = { job: next, files, about };
  });
  save();
  replan();
}

function move(from, to) {
  if (from.value.length === 0) return;
  const state = from.value.at(-1);
  batch(() => {
    from.value = from.value.slice(0, -1);
    to.value = [...to.value, now.value];
    now.value = state;
  });
  save();
  replan();
}

export const undo = () => move(past, future);
export const redo = () => move(future, past);

export function goTo(name) {
  step.value = name;
  save();
}

// ---- the plan
let wanted = 0;
let running = null;

/** Makes the plan of the newest choices; changes that come meanwhile are made together afterwards. */
export function replan() {
  wanted += 1;
  running ??= (async () => {
    let made = 0;
    while (made !== wanted) {
      made = wanted;
      await planOnce();
    }
  })().finally(() => { running = null; });
  return running;
}

async function planOnce() {
  if (!ready.value) {
    batch(() => { plan.value = null; trouble.value = null; busy.value = null; });
    return;
  }
  const of = now.value;
  const where = card.value.id;
  busy.value = { stage: 'getting ready' };
  try {
    const files = filesNow();
    const text = await desk.call('plan', [planned(of.job)], { files, stage: (stage) => { busy.value = { stage }; } });
    const view = JSON.parse(text);
    // The library leaves out curves that it has sent before, also where no one waited for them any more.
    curves = view.curves ?? curves;
    if (card.value?.id !== where) return;
    batch(() => {
      plan.value = { ...view, curves, of };
      trouble.value = null;
      busy.value = null;
    });
    thumbnail(plan.value).then((png) => { if (card.value?.id === where) { picture = png; save(); } });
  } catch (error) {
    if (!(error instanceof Told)) throw error;
    curves = error.broken || error.stopped ? null : curves;
    batch(() => { trouble.value = error.stopped ? null : { what: error.message, next: error.next }; busy.value = null; });
  }
}
let curves = null;

export function stop() {
  wanted = 0;
  desk.stop();
  said.value = { text: 'Stopped. The next change makes the plan again.' };
}

// ---- keeping
let timer = null;
export function save(atOnce = false) {
  clearTimeout(timer);
  if (atOnce) return saveNow();
  timer = setTimeout(saveNow, 250);
  return Promise.resolve();
}

async function saveNow() {
  clearTimeout(timer);
  if (!card.value) return;
  const used = new Set([now.value, ...past.value, ...future.value].flatMap((s) => Object.values(s.files)));
  for (const key of bytes.keys()) if (!used.has(key)) bytes.delete(key);
  try {
    await store.keep({
      ...card.value, changed: Date.now(), step: step.value, picture,
      now: now.value, past: past.value, future: future.value, bytes,
    });
    storageSays.value = null;
  } catch (error) {
    storageSays.value = store.storageTrouble(error);
  }
}

if (typeof addEventListener === 'function') addEventListener('pagehide', () => { saveNow(); });
