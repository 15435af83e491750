// Fit: how the photo lies on the drawing, and where each place of the drawing gets its color from.
import { signal } from '@preact/signals';
import { useState } from 'preact/hooks';
import * as table from '../card.js';
import { bytesOf, nameFor, pictureOf, PICTURES } from '../files.js';
import { FileButton, Slider, Swatch, Trouble, useLater } from '../parts.jsx';
import { Board, Ink, shown, UNIT } from '../panel.jsx';
import { photoOf } from './bring.jsx';

const strength = signal(60);
/** Whether matching places are being tapped. */
const matching = signal(false);
/** The part whose places are being tapped: 'photo 1' or 'part 0', or null. */
const giving = signal(null);
/** Half of a pair: { reference } or { art }. */
const half = signal(null);

const round = (p, digits = 1) => p.map((v) => Math.round(v * 10 ** digits) / 10 ** digits);

/** The matching places of the first photo. */
const pairsOf = (job) => (Array.isArray(job.reference) ? job.reference[0]?.match : job.match) ?? [];
function setPairs(job, pairs) {
  const holder = Array.isArray(job.reference) ? job.reference[0] : job;
  if (pairs.length > 0) holder.match = pairs; else delete holder.match;
}
const editPairs = (about, change) => table.edit(about, (job) => setPairs(job, change(structuredClone(pairsOf(job)))));

function put(place, point) {
  const before = half.value;
  if (before && !(place in before)) {
    half.value = null;
    editPairs('a matching place', (pairs) => [...pairs, { ...before, [place]: point }]);
  } else half.value = { [place]: point };
}

/** Pins on a picture, in its own units; they can be dragged, and moved with the arrow keys. */
function Pins({ pairs, place, scale, radius, toPoint }) {
  const [held, hold] = useState(null);
  const all = pairs.map((p, i) => ({ n: i + 1, at: held?.i === i ? held.at : p[place], i }));
  if (half.value?.[place]) all.push({ n: pairs.length + 1, at: half.value[place], i: -1 });
  const set = (i, at) => editPairs('a matching place moved', (list) => list.map((p, k) => (k === i ? { ...p, [place]: round(at) } : p)));
  return all.map(({ n, at, i }) => (
    <g
      key={n} class={i < 0 ? 'pin half' : 'pin'} data-grip transform={`translate(${at[0] * scale} ${at[1] * scale})`}
      tabIndex={i < 0 ? -1 : 0} role="button" aria-label={`Place ${n}; move it with the arrow keys, remove it with Delete`}
      onClick={(event) => event.stopPropagation()}
      onPointerDown={(event) => { if (i >= 0) { event.stopPropagation(); event.currentTarget.setPointerCapture(event.pointerId); hold({ i, at }); } }}
      onPointerMove={(event) => { if (held?.i === i && i >= 0) hold({ i, at: toPoint(event) }); }}
      onPointerUp={() => { if (held) { if (held.at !== pairs[held.i][place]) set(held.i, held.at); hold(null); } }}
      onPointerCancel={() => hold(null)}
      onKeyDown={(event) => {
        const d = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
        const by = place === 'art' ? 0.5 : 5;
        if (d) set(i, [at[0] + d[0] * by, at[1] + d[1] * by]);
        else if (event.key === 'Delete' || event.key === 'Backspace') editPairs('a matching place removed', (list) => list.filter((_, k) => k !== i));
        else return;
        event.preventDefault();
      }}
    >
      <circle r={radius * 1.8} class="reach" />
      <circle r={radius} />
      <text font-size={radius * 1.3} dy={radius * 0.45}>{n}</text>
    </g>
  ));
}

function PhotoPane({ name, pairs }) {
  const picture = useLater(() => pictureOf(name), [table.now.value.files[name]]);
  if (picture.error) return <Trouble error={picture.error} />;
  if (!picture.value) return <p class="hint">Opening the photo…</p>;
  const { url, fullWidth: w, fullHeight: h } = picture.value;
  // The board counts millimeters; here one is a hundredth of the photo's longer side.
  const mm = 100 / Math.max(w, h);
  const toPoint = (event) => {
    const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(event.currentTarget.parentNode.getScreenCTM().inverse());
    return round([Math.min(Math.max(p.x / UNIT / mm, 0), w - 1), Math.min(Math.max(p.y / UNIT / mm, 0), h - 1)]);
  };
  return (
    <Board size={[w * mm, h * mm]} bare label="The photo: tap a place in it" onTap={([x, y]) => { if (x >= 0 && y >= 0 && x < w * mm && y < h * mm) put('reference', round([x / mm, y / mm])); }}>
      <image href={url} width={w * mm * UNIT} height={h * mm * UNIT} />
      <Pins pairs={pairs} place="reference" scale={mm * UNIT} radius={2.6 * UNIT} toPoint={toPoint} />
    </Board>
  );
}

/** What a cell is colored from: [{ key, name, color, cells, photo }]. */
function sourcesOf(job) {
  const photos = Array.isArray(job.reference) ? job.reference : job.reference ? [{ photo: job.reference, cells: [] }] : [];
  return [
    ...photos.map((p, i) => ({ key: `photo ${i}`, name: p.photo, photo: true, cells: p.cells ?? [], i })),
    ...(job.part ?? []).map((p, i) => ({ key: `part ${i}`, name: p.name ?? `Color ${i + 1}`, color: p.color, pen: p.pen, cells: p.cells ?? [], i })),
  ];
}

const cellsIn = (job, source) => {
  if (!source.photo) return job.part[source.i];
  if (!Array.isArray(job.reference)) job.reference = [{ photo: job.reference, ...(job.match ? { match: job.match } : {}) }];
  delete job.match;
  return job.reference[source.i];
};

/** One photo for everything is written as one. */
function tidy(job) {
  if (Array.isArray(job.reference) && job.reference.length === 1 && !job.reference[0].cells?.length) {
    const [{ photo, match }] = job.reference;
    job.reference = photo;
    if (match) job.match = match;
  }
}

function Sources({ job }) {
  const sources = sourcesOf(job);
  const color = (i) => (event) => table.edit('a color', (next) => { next.part[i].color = event.currentTarget.value; delete next.part[i].pen; });
  const round100 = (event) => Number(event.currentTarget.value) / 100;
  const add = (what) => {
    table.edit('a color for some places', (next) => { next.part = [...(next.part ?? []), what]; });
    giving.value = `part ${job.part?.length ?? 0}`;
  };
  return (
    <section aria-labelledby="from">
      <h2 id="from">Where the color comes from</h2>
      <ul class="sources">
        {sources.map((s) => (
          <li key={s.key} class={giving.value === s.key ? 'on' : ''}>
            <div class="row">
              {s.photo ? <b>{s.name}</b> : (
                <>
                  <input type="color" aria-label={`Color of ${s.name}`} value={s.color ?? '#cccccc'} onChange={color(s.i)} />
                  <input class="name" aria-label="What it is" value={s.name} onChange={(event) => table.edit('a name', (next) => { next.part[s.i].name = event.currentTarget.value; })} />
                </>
              )}
              <small>{s.cells.length === 0 ? (sources.length > 1 || s.photo ? 'all other places' : 'every place') : `${s.cells.length} place${s.cells.length > 1 ? 's' : ''}`}</small>
            </div>
            <div class="row">
              <button type="button" aria-pressed={giving.value === s.key} onClick={() => { giving.value = giving.value === s.key ? null : s.key; matching.value = false; }}>{giving.value === s.key ? 'Enough places' : 'Tap its places'}</button>
              {(s.i > 0 || !s.photo) && <button type="button" onClick={() => { giving.value = null; table.edit('a color taken away', (next) => {
                if (s.photo) { next.reference.splice(s.i, 1); tidy(next); } else { next.part.splice(s.i, 1); if (next.part.length === 0) delete next.part; }
              }); }}>Remove</button>}
            </div>
            {!s.photo && giving.value === s.key && (
              <details open><summary>Its form</summary>
                <Slider label="Roundness" min={0} max={100} value={Math.round((job.part[s.i].roundness ?? 0.85) * 100)} onChange={(v) => table.edit('roundness', (next) => { next.part[s.i].roundness = v / 100; })} />
                <Slider label="Gloss" min={0} max={100} value={Math.round((job.part[s.i].gloss ?? 0) * 100)} onChange={(v) => table.edit('gloss', (next) => { next.part[s.i].gloss = v / 100; })} />
                <Slider label="Creases along drawn lines" min={0} max={100} value={Math.round((job.part[s.i].crease ?? 0.3) * 100)} onChange={(v) => table.edit('creases', (next) => { next.part[s.i].crease = v / 100; })} />
                {(job.part.length > 1) && (
                  <fieldset class="checks"><legend>It lies in front of</legend>
                    {job.part.map((other, k) => k !== s.i && other.name && (
                      <label key={k}><input type="checkbox" checked={[job.part[s.i].over ?? []].flat().includes(other.name)} onChange={(event) => table.edit('what lies in front', (next) => {
                        const over = new Set([next.part[s.i].over ?? []].flat());
                        if (event.currentTarget.checked) over.add(other.name); else over.delete(other.name);
                        if (over.size > 0) next.part[s.i].over = [...over]; else delete next.part[s.i].over;
                      })} />{other.name}</label>
                    ))}
                  </fieldset>
                )}
              </details>
            )}
          </li>
        ))}
      </ul>
      <div class="row">
        <button type="button" onClick={() => add({ name: `Color ${(job.part?.length ?? 0) + 1}`, color: '#c2452d', cells: [] })}>A color of its own</button>
        {job.reference && <FileButton label="Another photo" accept={PICTURES} onFiles={async ([file]) => {
          const name = nameFor(file, Object.keys(table.now.value.files));
          const data = await bytesOf(file);
          table.edit('another photo', (next) => {
            if (!Array.isArray(next.reference)) next.reference = [{ photo: next.reference, ...(next.match ? { match: next.match } : {}) }];
            delete next.match;
            next.reference.push({ photo: name, cells: [] });
            return { [name]: data };
          });
          giving.value = `photo ${table.job.value.reference.length - 1}`;
        }} />}
      </div>
      {job.part?.length > 0 && <Light job={job} />}
    </section>
  );
}

/** Hours on a clock face: where the light comes from. */
function Light({ job }) {
  const text = job.light ?? '10:30';
  const [h, m] = /^(\d+):(\d+)$/.exec(text)?.slice(1).map(Number) ?? [10, 30];
  const at = h * 2 + Math.round(m / 30);
  const words = (v) => `${Math.floor(v / 2) || 12}:${v % 2 ? '30' : '00'}`;
  return (
    <div>
      <h3>The light</h3>
      <Slider label="From, as on a clock face" min={0} max={23} value={at % 24} words={Array.from({ length: 24 }, (_, v) => words(v))} onChange={(v) => table.edit('the light', (next) => { next.light = words(v); })} />
      <Slider label="Height, in degrees" min={10} max={90} step={5} value={job.light_height ?? 40} onChange={(v) => table.edit("the light's height", (next) => { next.light_height = v; })} />
    </div>
  );
}

export function Lay() {
  const { job, files } = table.now.value;
  const view = table.plan.value;
  const art = files[job.art];
  const cells = useLater(() => table.ask('cells', job), [art, job.width, job.panel, job.corners, job.gap]);
  const laid = useLater(async () => (view && job.reference ? shown(await table.ask('laid'), 'image/jpeg') : null), [view?.of]);
  const photo = photoOf(job);
  const pairs = pairsOf(job);
  const sources = sourcesOf(job);
  if (cells.error) return <Trouble error={cells.error} />;
  if (!cells.value) return <p class="hint">Reading the drawing…</p>;
  const { size_mm: size, cells: list, ink } = cells.value;
  const cellAt = (event) => {
    const found = event.target.closest?.('[data-cell]');
    return found ? list.find((c) => c.cell === Number(found.dataset.cell)) : null;
  };
  const holds = (source, cell) => source.cells.some((p) => p.join() === round(cell.point).join());
  const tap = (at, event) => {
    if (matching.value) { put('art', round(at)); return; }
    const source = sources.find((s) => s.key === giving.value);
    const cell = source && cellAt(event);
    if (!cell) return;
    const point = round(cell.point);
    table.edit('a place', (next) => {
      for (const s of sourcesOf(next)) {
        if (s.cells.some((p) => p.join() === point.join())) {
          const entry = cellsIn(next, s);
          entry.cells = entry.cells.filter((p) => p.join() !== point.join());
        }
      }
      if (!holds(source, cell)) { const entry = cellsIn(next, source); entry.cells = [...(entry.cells ?? []), point]; }
      tidy(next);
    });
  };
  const toPoint = (event) => {
    const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(event.currentTarget.parentNode.getScreenCTM().inverse());
    return round([Math.min(Math.max(p.x / UNIT, 0), size[0]), Math.min(Math.max(p.y / UNIT, 0), size[1])]);
  };
  return (
    <div class="split">
      <div class={matching.value ? 'stage two' : 'stage'}>
        {matching.value && photo && <PhotoPane name={photo} pairs={pairs} />}
        <Board size={size} label="The drawing" onTap={tap}>
          {laid.value && <image href={laid.value.url} width={size[0] * UNIT} height={size[1] * UNIT} preserveAspectRatio="none" style={{ opacity: strength.value / 100 }} />}
          {list.map((c) => {
            const source = sources.find((s) => holds(s, c));
            const fill = source?.color ?? (source ? 'url(#given)' : 'transparent');
            return <path key={c.cell} class={giving.value ? 'touch cell' : 'cell'} data-cell={c.cell} d={c.path} fill={fill} />;
          })}
          <defs><pattern id="given" width="300" height="300" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="90" height="300" class="hatch" /></pattern></defs>
          <path class="ink" d={ink} />
          {matching.value && <Pins pairs={pairs} place="art" scale={UNIT} radius={Math.max(...size) * 2.6} toPoint={toPoint} />}
        </Board>
      </div>
      <div class="side" tabIndex={0} role="group" aria-label="What to do">
        {table.trouble.value && <Trouble error={table.trouble.value} />}
        {giving.value && <p class="now">Tap every place of the drawing that belongs to <b>{sources.find((s) => s.key === giving.value)?.name}</b>. <button type="button" onClick={() => { giving.value = null; }}>Enough places</button></p>}
        {photo && (
          <section aria-labelledby="fit">
            <h2 id="fit">Does the photo lie right?</h2>
            {view?.plan.alignment[0] && <p>Laid by {view.plan.alignment[0].told}.{view.plan.alignment[0].agreement !== null && ` They agree to ${Math.round(view.plan.alignment[0].agreement * 100)} %.`}</p>}
            <Slider label="Photo over the drawing" min={0} max={100} value={strength.value} onChange={(v) => { strength.value = v; }} />
            <button type="button" aria-pressed={matching.value} onClick={() => { matching.value = !matching.value; giving.value = null; half.value = null; }}>{matching.value ? 'That fits' : 'Match places'}</button>
            {matching.value && <p class="now">{half.value ? (half.value.reference ? 'Now tap the same place in the drawing.' : 'Now tap the same place in the photo.') : 'Tap a place in the photo, and the same place in the drawing: a stem, a tip, a corner.'}</p>}
            {pairs.length > 0 && (
              <ol class="pairs">{pairs.map((p, i) => (
                <li key={i}>Place {i + 1} <button type="button" class="quiet" aria-label={`Remove place ${i + 1}`} onClick={() => editPairs('a matching place removed', (l) => l.filter((_, k) => k !== i))}>Remove</button></li>
              ))}</ol>
            )}
          </section>
        )}
        <Sources job={job} />
      </div>
    </div>
  );
}
