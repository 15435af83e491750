// Cards on this device: IndexedDB holds their choices, and their files once each.
import { openDB } from 'idb';

const NAME = 'penstrata';
let opened = null;

const database = () => {
  opened ??= openDB(NAME, 1, {
    upgrade(db) {
      db.createObjectStore('cards', { keyPath: 'id' });
      db.createObjectStore('files');
    },
  });
  opened.catch(() => { opened = null; });
  return opened;
};

/** What went wrong with the device's storage, for a person. */
export function storageTrouble(error) {
  if (error?.name === 'QuotaExceededError') {
    return 'This device has no room left for the card. It stays open here: save it as a file, or remove an old card.';
  }
  return 'This browser keeps nothing here (a private window does that). Your card stays open as long as the page: save it as a file before you close it.';
}

/** All cards, the one changed last first. */
export async function cards() {
  const all = await (await database()).getAll('cards');
  return all.sort((a, b) => b.changed - a.changed);
}

/** A card with its files: name to { key, bytes }. */
export async function load(id) {
  const db = await database();
  const kept = await db.get('cards', id);
  if (!kept) return null;
  const bytes = new Map();
  for (const key of kept.keys) bytes.set(key, await db.get('files', key));
  return { ...kept, bytes };
}

/** Keeps a card in one transaction: all of it or nothing. `bytes` is a map of key to bytes. */
export async function keep({ bytes, ...card }) {
  const db = await database();
  const before = await db.get('cards', card.id);
  const had = new Set(before?.keys ?? []);
  const keys = [...bytes.keys()];
  const work = db.transaction(['cards', 'files'], 'readwrite');
  const puts = keys.filter((key) => !had.has(key)).map((key) => work.objectStore('files').put(bytes.get(key), key));
  const gone = [...had].filter((key) => !bytes.has(key)).map((key) => work.objectStore('files').delete(key));
  const put = work.objectStore('cards').put({ ...card, keys });
  await Promise.all([...puts, ...gone, put, work.done]);
}

export async function remove(id) {
  const db = await database();
  const card = await db.get('cards', id);
  const work = db.transaction(['cards', 'files'], 'readwrite');
  const gone = (card?.keys ?? []).map((key) => work.objectStore('files').delete(key));
  await Promise.all([...gone, work.objectStore('cards').delete(id), work.done]);
}
