// The pens: the owner's table, row by row; measuring them with a sheet and a photo of it.
import { useState } from 'preact/hooks';
import * as table from '../card.js';
import { bytesOf, nameFor, pictureIn, PICTURES, save, TABLES } from '../files.js';
import { FileButton, Trouble, useLater } from '../parts.jsx';
import { Board, Pins, UNIT } from '../panel.jsx';
import { rounded } from '../stamps.js';
import { putPens } from './bring.jsx';

const YES = ['yes', 'y', 'true', '1', 'x'];
/** Names for pens that have none yet. */
const fresh = (rows) => { for (let n = rows.length + 1; ; n += 1) if (!rows.some((r) => r.name === `Pen ${n}`)) return `Pen ${n}`; };

/** A photo of a scrap: every pen's patch is tapped, then all are read. */
function Scrap({ scrap, pens, onRead, onClose }) {
  const { url, fullWidth: w, fullHeight: h } = scrap.picture;
  const [pen, choose] = useState(pens[0]);
  const [patches, set] = useState([]);
  // The board counts millimeters; here one is a hundredth of the photo's longer side.
  const px = 100 / Math.max(w, h);
  const size = [w * px, h * px];
  const pixels = (p) => p.map((v, k) => rounded(Math.min(Math.max(v / px, 0), [w, h][k] - 1)));
  const put = (at) => {
    const others = patches.filter((p) => p.pen !== pen);
    set([...others, { pen, at: pixels(at) }]);
    const next = pens.find((name) => name !== pen && !others.some((p) => p.pen === name));
    if (next) choose(next);
  };
  return (
    <section class="scrap" aria-label="A scrap">
      <h2>Which pen is where?</h2>
      <p>Choose a pen, then tap the middle of its patch. Bare card must be around every patch.</p>
      <div class="row">
        <label><span>Pen</span> <select value={pen} onChange={(event) => choose(event.currentTarget.value)}>{pens.map((name) => <option key={name} value={name}>{name}</option>)}</select></label>
        <button type="button" onClick={() => put(size.map((v) => v / 2))}>Put it in the middle</button>
      </div>
      <div class="stage">
        <Board role="group" size={size} bare label="The scrap: tap a patch" onTap={([x, y]) => { if (x >= 0 && y >= 0 && x < size[0] && y < size[1]) put([x, y]); }}>
          <image href={url} width={size[0] * UNIT} height={size[1] * UNIT} />
          <Pins points={patches.map((p) => p.at.map((v) => v * px))} size={size} by={0.5} radius={2.6 * UNIT} onMove={(i, at) => set(patches.map((p, k) => (k === i ? { ...p, at: pixels(at) } : p)))} onRemove={(i) => set(patches.filter((_, k) => k !== i))} />
        </Board>
      </div>
      {patches.length > 0 && <ol class="pairs">{patches.map((p, i) => <li key={p.pen}><bdi>{p.pen}</bdi> <button type="button" class="quiet" aria-label={`Remove ${p.pen}`} onClick={() => set(patches.filter((_, k) => k !== i))}>Remove</button></li>)}</ol>}
      <div class="row">
        <button type="button" class="main" disabled={patches.length === 0} onClick={() => onRead(patches)}>Read {patches.length === 1 ? 'it' : 'them'}</button>
        <button type="button" onClick={onClose}>Never mind</button>
      </div>
    </section>
  );
}

export function Pens() {
  const { files, job } = table.now.value;
  const rows = useLater(() => table.ask('pens', table.PENS), [files[table.PENS]]);
  const [error, setError] = useState(null);
  const [told, tell] = useState(null);
  const [find, setFind] = useState('');
  const [scrap, setScrap] = useState(null);
  const used = new Map(table.plan.value?.plan.numbers.filter((n) => n.pen).map((n) => [n.pen.name, n.number]));
  const list = rows.value ?? [];

  const put = async (about, next) => {
    try {
      const data = await table.ask('pensCsv', table.PENS, next);
      setError(null);
      table.edit(about, () => ({ [table.PENS]: data }));
    } catch (e) { setError(e); }
  };
  const set = (i, field, value) => put(`${list[i].name}: ${field}`, list.map((r, k) => (k === i ? { ...r, [field]: value } : r)));
  const sheets = async () => {
    try { save('swatches.pdf', await table.ask('swatchSheets', table.PENS, job.page ?? 'A4'), 'application/pdf'); } catch (e) { setError(e); }
  };
  const measure = async (photos) => {
    try {
      setError(null);
      const data = {};
      for (const [i, photo] of photos.entries()) data[`swatch-photo-${i + 1}`] = await bytesOf(photo);
      const reading = await table.measure(data);
      table.edit('pens measured', () => ({ [table.PENS]: new TextEncoder().encode(reading.csv) }));
      tell(reading.told);
    } catch (e) { setError(e); }
  };
  const scrapPhoto = async ([photo]) => {
    try {
      setError(null);
      tell(null);
      const name = nameFor(photo, Object.keys(files));
      const data = await bytesOf(photo);
      setScrap({ name, data, picture: await pictureIn(name, data) });
    } catch (e) { setError(e); }
  };
  const readScrap = async (patches) => {
    try {
      setError(null);
      const reading = await table.measureScrap(scrap.name, scrap.data, patches);
      table.edit('pens measured', () => ({ [table.PENS]: new TextEncoder().encode(reading.csv) }));
      tell(reading.told);
      setScrap(null);
    } catch (e) { setError(e); }
  };
  const shownRows = list.map((r, i) => [r, i]).filter(([r]) => r.name.toLowerCase().includes(find.toLowerCase()));
  return (
    <div class="pens-table">
      <div class="row">
        <button type="button" class="main" onClick={() => put('a new pen', [...list, { row: null, name: fresh(list), color: '#808080', refill: 'yes', condition: 'good', two_coats: '', note: '' }])}>Add a pen</button>
        <FileButton label="Read a table" accept={TABLES} onFiles={([f]) => putPens(f)} />
        {list.length > 0 && <button type="button" onClick={async () => save('my-pens.csv', await table.ask('pensCsv', table.PENS, list), 'text/csv')}>Save the table</button>}
        {list.length > 0 && <button type="button" onClick={sheets}>Print swatch sheets</button>}
        {list.length > 0 && <FileButton label="Read photos of swatch sheets" accept={PICTURES} multiple onFiles={measure} />}
        {list.length > 0 && <FileButton label="Read a scrap" accept={PICTURES} onFiles={scrapPhoto} />}
      </div>
      <p class="hint">A cap's color is only a hint. Print the swatch sheets on your own card, color them, let them dry, photograph them, and read the photos here: then the colors are those of your ink on your card. Only a few pens? Color a patch of each on a scrap of the same card, with bare card around it, and read a photo of that: less certain, but quick.</p>
      {(error || rows.error) && <Trouble error={error ?? rows.error} />}
      {told?.length > 0 && <div class="told" role="status"><ul>{told.map((t, i) => <li key={i}>{t}</li>)}</ul></div>}
      {scrap && <Scrap scrap={scrap} pens={list.map((r) => r.name)} onRead={readScrap} onClose={() => setScrap(null)} />}
      {list.length > 8 && <label class="find"><span>Find a pen</span><input type="search" value={find} onInput={(event) => setFind(event.currentTarget.value)} /></label>}
      <ul class="pens">
        {shownRows.map(([r, i]) => (
          <li key={`${r.row ?? 'new'}-${i}`}>
            <input type="color" aria-label={`Color of ${r.name}`} value={/^#[0-9a-f]{6}$/i.test(r.color) ? r.color : '#808080'} onChange={(event) => set(i, 'color', event.currentTarget.value)} />
            <input class="name" aria-label="Name" value={r.name} dir="auto" onChange={(event) => set(i, 'name', event.currentTarget.value)} />
            <label class="check"><input type="checkbox" checked={YES.includes(r.refill.toLowerCase())} onChange={(event) => set(i, 'refill', event.currentTarget.checked ? 'yes' : 'no')} />refill</label>
            <select aria-label={`Condition of ${r.name}`} value={r.condition.toLowerCase()} onChange={(event) => set(i, 'condition', event.currentTarget.value)}>
              {['good', 'worn', 'dry'].map((c) => <option key={c} value={c}>{c}</option>)}
            </select>
            {used.has(r.name) && <small>number {used.get(r.name)} here</small>}
            <button type="button" class="quiet" aria-label={`Remove ${r.name}`} onClick={() => put(`without ${r.name}`, list.filter((_, k) => k !== i))}>&times;</button>
          </li>
        ))}
      </ul>
    </div>
  );
}
