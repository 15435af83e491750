// The first step: photo, drawing and pens, and how large the drawing is.
import { batch } from '@preact/signals';
import { useState } from 'preact/hooks';
import * as table from '../card.js';
import { example } from '../desk.js';
import { bytesOf, DRAWINGS, kindOf, nameFor, pictureOf, PICTURES, TABLES, widthOfSvg } from '../files.js';
import { Choice, FileButton, LengthField, Trouble, useLater } from '../parts.jsx';
import { bring } from '../shelf.jsx';
import { imagesOf, isCard, kinds, namesOf, resize, toCard } from '../stamps.js';
import { bringStamp } from './card.jsx';

/** Sizes of card panels by name: ISO 216, and the usual cards in inches (common practice, no source). */
export const PANELS = { A6: 'A6 (105 x 148 mm)', A5: 'A5 (148 x 210 mm)', '4.25x5.5in': '4 1/4 x 5 1/2 in', '5x7in': '5 x 7 in' };

/** The job's one photo, or the first of several. */
export const photoOf = (job) => (Array.isArray(job.reference) ? job.reference[0]?.photo : job.reference);

/** The width a drawing gets until the person says how wide it is. */
const WIDTH = '100mm';

const taken = () => Object.keys(table.now.value.files);

async function putPhoto(file) {
  const name = nameFor(file, taken());
  const data = await bytesOf(file);
  table.edit('the photo', (job) => {
    const before = photoOf(job);
    if (Array.isArray(job.reference)) job.reference[0].photo = name;
    else job.reference = name;
    delete job.match;
    job.width ??= job.panel ? undefined : WIDTH;
    return { [name]: data, ...(before ? { [before]: null } : {}) };
  });
}

async function putDrawing(file) {
  const name = nameFor(file, taken());
  const data = await bytesOf(file);
  table.edit('the drawing', (job) => {
    const before = job.art;
    job.art = name;
    delete job.corners;
    const own = kindOf(file) === 'drawing' ? widthOfSvg(data) : null;
    if (kindOf(file) === 'drawing') delete job.panel;
    if (!job.panel) job.width = own ?? job.width ?? WIDTH;
    return { [name]: data, ...(before ? { [before]: null } : {}) };
  });
}

export async function putPens(file) {
  const data = await bytesOf(file);
  table.edit('the pens', () => ({ [table.PENS]: data }));
}

/** Files from anywhere: dropped, pasted, chosen. */
export async function takeFiles(files) {
  for (const file of files) {
    const kind = kindOf(file);
    if (kind === 'card') { await bring([file]); return; }
    if (!table.card.value) table.begin('New card');
    if (kind === 'pens') await putPens(file);
    else if (isCard(table.job.value)) await bringStamp([file]);
    else if (kind === 'drawing' || (table.job.value.reference && !table.job.value.art)) await putDrawing(file);
    else await putPhoto(file);
  }
}

function Picture({ name, alt }) {
  const { value, error } = useLater(() => pictureOf(name), [table.now.value.files[name]]);
  if (error) return <Trouble error={{ what: error.message, next: error.next }} />;
  return value ? <img src={value.url} alt={alt} /> : <span class="blank" aria-hidden="true" />;
}

function Slot({ title, words, name, alt, onRemove, children }) {
  return (
    <section class={name ? 'slot filled' : 'slot'} aria-label={title}>
      <h2>{title}</h2>
      {name ? <Picture name={name} alt={alt} /> : <p>{words}</p>}
      <div class="row">
        {children}
        {name && onRemove && <button type="button" onClick={onRemove}>Remove</button>}
      </div>
    </section>
  );
}

function Size({ job }) {
  const panel = Boolean(job.panel);
  const [own, setOwn] = useState(panel && !PANELS[job.panel]);
  if (!job.art && !job.reference) return null;
  const say = (size) => table.edit('the size', (next) => { next.panel = size; delete next.width; delete next.corners; });
  const svg = job.art && kindOf({ name: job.art }) === 'drawing';
  return (
    <section class="slot size" aria-label="Size">
      <h2>How large?</h2>
      {job.art && !svg && (
        <Choice
          legend="The drawing is" value={panel ? 'panel' : 'flat'}
          options={{ flat: 'a flat scan or file', panel: 'a photo of my stamped panel' }}
          onChange={(v) => table.edit('what the drawing is', (next) => {
            if (v === 'panel') { next.panel = 'A6'; delete next.width; } else { next.width = WIDTH; delete next.panel; delete next.corners; }
          })}
        />
      )}
      {panel
        ? (
          <div class="field">
            <label><span>Size of the panel</span>
              <select value={own ? 'own' : job.panel} onChange={(event) => { const v = event.currentTarget.value; setOwn(v === 'own'); if (v !== 'own') say(v); }}>
                {Object.entries(PANELS).map(([k, v]) => <option key={k} value={k}>{v}</option>)}
                <option value="own">another size</option>
              </select>
            </label>
            {own && <label><span>Width x height</span><input value={PANELS[job.panel] ? '' : job.panel} placeholder="120 x 120 mm" onChange={(event) => event.currentTarget.value && say(event.currentTarget.value)} /></label>}
          </div>
        )
        : (
          <LengthField
            label={job.art ? 'Width of the whole drawing on the card' : 'Width of the picture on the card'} value={job.width}
            onChange={(v) => table.edit('the width', (next) => { if (next.width) resize(next, v); else next.width = v; delete next.panel; })}
          />
        )}
    </section>
  );
}

/** Makes the drawing on the table the first stamp of a card, and goes to lay it. */
async function severalStamps(files) {
  const { art } = table.job.value;
  const { width, height } = await pictureOf(art);
  table.edit('several stamps', (next) => toCard(next, height / width));
  if (files) await bringStamp(files);
  table.goTo('card');
}

/** The drawings of a card of several stamps, each once. */
function Stamps({ job }) {
  const names = namesOf(job);
  return (
    <section class="slot filled" aria-label="Stamps">
      <h2>Stamps and pieces</h2>
      <ul class="arts">{kinds(job).map((i) => <li key={names[i]}><Picture name={imagesOf(job)[i].art} alt="" /><bdi>{names[i]}</bdi></li>)}</ul>
      <p class="hint">Lay them on the panel in the step Card. Colors and photos are given to each in the step Fit.</p>
      <div class="row">
        <FileButton label="Add a stamp" accept={DRAWINGS} onFiles={(files) => bringStamp(files).then(() => table.goTo('card'))} />
        <button type="button" onClick={() => table.goTo('card')}>Lay them</button>
      </div>
    </section>
  );
}

export function Bring() {
  const { job, files } = table.now.value;
  const photo = photoOf(job);
  const pens = Boolean(files[table.PENS]);
  const rows = useLater(() => (pens ? table.ask('pens', table.PENS) : []), [files[table.PENS]]);
  const borrow = async () => {
    const data = await example('pens');
    table.edit('pens to try with', () => ({ [table.PENS]: data }));
  };
  const card = isCard(job);
  const flat = job.art && !job.panel;
  return (
    <div class="slots">
      {card && <Stamps job={job} />}
      {!card && <Slot
        title="Photo" words="The real thing: fruit, flowers, a cup. It gives the colors, and where light and shade lie." name={photo} alt="Your photo"
        onRemove={() => table.edit('no photo', (next) => { delete next.reference; delete next.match; return { [photo]: null }; })}
      >
        <FileButton label={photo ? 'Another' : 'Choose a photo'} accept={PICTURES} onFiles={([f]) => putPhoto(f)} />
        {!photo && <FileButton label="Take one" accept="image/*" camera onFiles={([f]) => putPhoto(f)} />}
      </Slot>}
      {!card && <Slot
        title="Drawing" words="Your line drawing as a file or scan, or a photo of the panel you stamped. Without one, the sections themselves are the drawing." name={job.art} alt="Your drawing"
        onRemove={() => table.edit('no drawing', (next) => {
          const art = next.art;
          for (const key of ['art', 'panel', 'corners', 'match', 'part', 'bare', 'merge', 'cut']) delete next[key];
          next.width ??= WIDTH;
          return { [art]: null };
        })}
      >
        <FileButton label={job.art ? 'Another' : 'Choose a drawing'} accept={DRAWINGS} onFiles={([f]) => putDrawing(f)} />
        {!job.art && <FileButton label="Photograph the panel" accept="image/*" camera onFiles={async ([f]) => { await putDrawing(f); table.edit('a photo of the panel', (next) => { next.panel = 'A6'; delete next.width; }); }} />}
        {flat && <FileButton label="Add a second stamp" accept={DRAWINGS} onFiles={severalStamps} />}
        {flat && <button type="button" onClick={() => severalStamps(null)}>Stamp it several times</button>}
      </Slot>}
      <section class={pens ? 'slot filled' : 'slot'} aria-label="Pens">
        <h2>Pens</h2>
        {pens
          ? <div class="swatches">{rows.value?.map((p, i) => <span key={i} style={{ background: p.color }} title={p.name} />)}<p>{rows.value?.length ?? ''} pens</p></div>
          : <p>The pens you own: a table with a name and a color for each. You can also type them in.</p>}
        {rows.error && <Trouble error={rows.error} />}
        <div class="row">
          <FileButton label={pens ? 'Another table' : 'Choose a table'} accept={TABLES} onFiles={([f]) => putPens(f)} />
          <button type="button" onClick={() => batch(() => table.goTo('pens'))}>{pens ? 'Look them over' : 'Type them in'}</button>
          {!pens && <button type="button" onClick={borrow}>Try with ours</button>}
        </div>
      </section>
      {!card && <Size job={job} />}
      {table.trouble.value && <Trouble error={table.trouble.value} />}
      {!photo && (job.art || card) && !table.ready.value && pens && <p class="hint">Without a photo you choose the colors yourself: go on to Fit, tap a place, and give it a color.</p>}
    </div>
  );
}
