// The shelf: all cards on this device.
import { signal } from '@preact/signals';
import { useEffect, useState } from 'preact/hooks';
import * as table from './card.js';
import { desk, example } from './desk.js';
import { FileButton, Trouble } from './parts.jsx';
import * as store from './store.js';
import { readCard } from './folder.js';

const all = signal([]);
const trouble = signal(null);

async function look() {
  try { all.value = await store.cards(); } catch (error) { trouble.value = { what: store.storageTrouble(error) }; }
}

export async function openExample() {
  const [photo, drawing, pens] = await Promise.all(['photo', 'drawing', 'pens'].map(example));
  table.begin('Persimmon and plums', { reference: 'reference.jpg', art: 'outline.svg', pens: table.PENS, width: '110mm', out: table.OUT },
    { 'reference.jpg': photo, 'outline.svg': drawing, [table.PENS]: pens });
  table.goTo('sections');
}

/** The example of a card of stamps and pieces: its job file, and the files it names. */
export async function openCardExample() {
  const [text, pens, accents, ...drawings] = await Promise.all(['card', 'pens', 'accents', ...DRAWINGS].map(example));
  const job = await desk.call('readJob', ['card.toml'], { files: { 'card.toml': text } });
  const files = { [table.PENS]: pens, 'accents.csv': accents };
  DRAWINGS.forEach((name, i) => { files[`${name}.svg`] = drawings[i]; });
  table.begin('Lantern and moths', { ...job, pens: table.PENS, out: table.OUT }, files);
  table.goTo('card');
}
const DRAWINGS = ['mushroom', 'lantern', 'fern', 'moth'];

export async function bring(files) {
  try {
    const { name, job, given } = await readCard(files[0]);
    table.begin(name, job, given);
  } catch (error) {
    trouble.value = { what: error.message, next: error.next };
  }
}

function Kept({ card }) {
  const [sure, ask] = useState(false);
  const [url, setUrl] = useState(null);
  useEffect(() => {
    if (!card.picture) return undefined;
    const made = URL.createObjectURL(new Blob([card.picture], { type: 'image/png' }));
    setUrl(made);
    return () => URL.revokeObjectURL(made);
  }, [card]);
  return (
    <li>
      <button type="button" class="kept" onClick={() => table.open(card.id)}>
        {url ? <img src={url} alt="" /> : <span class="blank" aria-hidden="true" />}
        <span>{card.name}</span>
        <small>{new Date(card.changed).toLocaleDateString()}</small>
      </button>
      {sure
        ? <span class="sure">Throw it away? <button type="button" onClick={() => store.remove(card.id).then(look)}>Yes</button> <button type="button" onClick={() => ask(false)}>No</button></span>
        : <button type="button" class="quiet" aria-label={`Throw away ${card.name}`} onClick={() => ask(true)}>Throw away</button>}
    </li>
  );
}

export function Shelf() {
  useEffect(() => { look(); }, []);
  return (
    <main class="shelf">
      <h1>penstrata</h1>
      <p class="lead">A photo of the real thing, your line drawing and the pens you own become sections to trace onto your card, and a pen for each.</p>
      <div class="starts">
        <button type="button" class="main" onClick={() => table.begin('New card')}>Begin a card</button>
        <button type="button" onClick={openExample}>Open the example</button>
        <button type="button" onClick={openCardExample}>Example with several stamps</button>
        <FileButton label="Open a saved card" accept=".zip" onFiles={bring} />
      </div>
      <Trouble error={trouble.value} />
      {all.value.length > 0 && (
        <section aria-labelledby="yours">
          <h2 id="yours">Your cards</h2>
          <ul class="cards">{all.value.map((card) => <Kept key={card.id} card={card} />)}</ul>
        </section>
      )}
      <p class="small">Your photos never leave this device: this page cannot send anything anywhere. Cards are kept in this browser.</p>
    </main>
  );
}
