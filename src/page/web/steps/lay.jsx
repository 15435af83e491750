// Fit: how the photo lies on the drawing, and where each place of the drawing gets its color from.
import { signal } from '@preact/signals';
import * as table from '../card.js';
import { bytesOf, nameFor, pictureOf, PICTURES } from '../files.js';
import { Choice, FileButton, Slider, Trouble, useLater } from '../parts.jsx';
import { Board, holds, Pins, shown, UNIT } from '../panel.jsx';
import { imagesOf, isCard, kinds, lenderOf, namesOf, placement } from '../stamps.js';
import { photoOf } from './bring.jsx';

const strength = signal(60);
/** Whether matching places are being tapped. */
const matching = signal(false);
/** The part whose places are being tapped: 'photo 1' or 'part 0', or null. */
const giving = signal(null);
/** Half of a pair: { reference } or { art }. */
const half = signal(null);

const round = (p, digits = 1) => p.map((v) => Math.round(v * 10 ** digits) / 10 ** digits);

/** The stamp or piece that colors are given to, by its index among all of the card; there is one drawing else. */
export const which = signal(0);
/** What holds the tables that say where the colors of the drawing come from: the job, or the stamp or piece. */
const holderOf = (job) => {
  if (!isCard(job)) return job;
  const told = kinds(job);
  return imagesOf(job)[told.includes(which.value) ? which.value : told[0]];
};
const edit = (about, change) => table.edit(about, (job) => change(holderOf(job)));

/** The matching places of the first photo. */
const pairsOf = (job) => (Array.isArray(job.reference) ? job.reference[0]?.match : job.match) ?? [];
function setPairs(job, pairs) {
  const holder = Array.isArray(job.reference) ? job.reference[0] : job;
  if (pairs.length > 0) holder.match = pairs; else delete holder.match;
}
const editPairs = (about, change) => edit(about, (job) => setPairs(job, change(structuredClone(pairsOf(job)))));

function put(place, point) {
  const before = half.value;
  if (before && !(place in before)) {
    half.value = null;
    editPairs('a matching place', (pairs) => [...pairs, { ...before, [place]: point }]);
  } else half.value = { [place]: point };
}

/** The pins of one side; `scale` is how many millimeters of the board one of its units is. */
function PairPins({ pairs, place, size, by, scale = 1, toPlace = round }) {
  const points = pairs.map((p) => p[place].map((v) => v * scale));
  return (
    <Pins
      points={points} half={half.value?.[place]?.map((v) => v * scale)} size={size} by={by} radius={Math.max(...size) * 0.026 * UNIT}
      onMove={(i, at) => editPairs('a matching place moved', (list) => list.map((p, k) => (k === i ? { ...p, [place]: toPlace(at) } : p)))}
      onRemove={(i) => editPairs('a matching place removed', (list) => list.filter((_, k) => k !== i))}
    />
  );
}

function PhotoPane({ name, pairs }) {
  const picture = useLater(() => pictureOf(name), [table.now.value.files[name]]);
  if (picture.error) return <Trouble error={picture.error} />;
  if (!picture.value) return <p class="hint">Opening the photo…</p>;
  const { url, fullWidth: w, fullHeight: h } = picture.value;
  // The board counts millimeters; here one is a hundredth of the photo's longer side.
  const px = 100 / Math.max(w, h);
  const pixels = (p) => round([Math.min(Math.max(p[0] / px, 0), w - 1), Math.min(Math.max(p[1] / px, 0), h - 1)]);
  return (
    <Board size={[w * px, h * px]} bare role="group" label="The photo: tap a place in it" onTap={([x, y]) => { if (x >= 0 && y >= 0 && x < w * px && y < h * px) put('reference', pixels([x, y])); }}>
      <image href={url} width={w * px * UNIT} height={h * px * UNIT} />
      <PairPins pairs={pairs} place="reference" size={[w * px, h * px]} by={5 * px} scale={px} toPlace={pixels} />
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

/**
 * `job` is what holds the tables; `light` the job if light falls on something; a stamp or piece (`ofCard`)
 * may have no photo at all. */
function Sources({ job, light, ofCard }) {
  const sources = sourcesOf(job);
  const color = (i) => (event) => edit('a color', (next) => { next.part[i].color = event.currentTarget.value; delete next.part[i].pen; });
  const add = (what) => {
    edit('a color for some places', (next) => { next.part = [...(next.part ?? []), what]; });
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
                  <input class="name" aria-label="What it is" value={s.name} onChange={(event) => edit('a name', (next) => { next.part[s.i].name = event.currentTarget.value; })} />
                </>
              )}
              <small>{s.cells.length === 0 ? (sources.length > 1 || s.photo ? 'all other places' : 'every place') : `${s.cells.length} place${s.cells.length > 1 ? 's' : ''}`}</small>
            </div>
            <div class="row">
              <button type="button" aria-pressed={giving.value === s.key} onClick={() => { giving.value = giving.value === s.key ? null : s.key; matching.value = false; }}>{giving.value === s.key ? 'Enough places' : 'Tap its places'}</button>
              {(s.i > 0 || !s.photo || ofCard) && <button type="button" onClick={() => { giving.value = null; edit('a color taken away', (next) => {
                if (s.photo && !Array.isArray(next.reference)) { delete next.reference; delete next.match; } else if (s.photo) { next.reference.splice(s.i, 1); tidy(next); } else { next.part.splice(s.i, 1); if (next.part.length === 0) delete next.part; }
              }); }}>Remove</button>}
            </div>
            {!s.photo && giving.value === s.key && (
              <details open><summary>Its form</summary>
                <Slider label="Roundness" min={0} max={100} value={Math.round((job.part[s.i].roundness ?? 0.85) * 100)} onChange={(v) => edit('roundness', (next) => { next.part[s.i].roundness = v / 100; })} />
                <Slider label="Gloss" min={0} max={100} value={Math.round((job.part[s.i].gloss ?? 0) * 100)} onChange={(v) => edit('gloss', (next) => { next.part[s.i].gloss = v / 100; })} />
                <Slider label="Creases along drawn lines" min={0} max={100} value={Math.round((job.part[s.i].crease ?? 0.3) * 100)} onChange={(v) => edit('creases', (next) => { next.part[s.i].crease = v / 100; })} />
                {(job.part.length > 1) && (
                  <fieldset class="checks"><legend>It lies in front of</legend>
                    {job.part.map((other, k) => k !== s.i && other.name && (
                      <label key={k}><input type="checkbox" checked={[job.part[s.i].over ?? []].flat().includes(other.name)} onChange={(event) => edit('what lies in front', (next) => {
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
        {(job.reference || ofCard) && <FileButton label={job.reference ? 'Another photo' : 'A photo'} accept={PICTURES} onFiles={async ([file]) => {
          const name = nameFor(file, Object.keys(table.now.value.files));
          const data = await bytesOf(file);
          edit('another photo', (next) => {
            if (!next.reference) {
              next.reference = name;
              return { [name]: data };
            }
            if (!Array.isArray(next.reference)) next.reference = [{ photo: next.reference, ...(next.match ? { match: next.match } : {}) }];
            delete next.match;
            next.reference.push({ photo: name, cells: [] });
            return { [name]: data };
          });
          const { reference } = holderOf(table.job.value);
          if (Array.isArray(reference)) giving.value = `photo ${reference.length - 1}`;
        }} />}
      </div>
      {light && <Light job={light} />}
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
      <Choice
        legend="Shadows on white" hidden={false} value={job.white_shadows ?? 'neutral'} options={{ cool: 'Cool grays', neutral: 'Grays', warm: 'Warm grays' }}
        onChange={(v) => table.edit('the shadows on white', (next) => { if (v === 'neutral') delete next.white_shadows; else next.white_shadows = v; })}
      />
    </div>
  );
}

/** What a job does with the white of a photo if it says nothing. */
const PAPER = 'paper';

/** What holds the choice: the photo, if it has one of its own, else what holds the tables. */
const whiteOf = (job) => (Array.isArray(job.reference) && job.reference[0]?.white ? job.reference[0] : job);

/** How bright the photo is, and whether its light has a color. */
function Brightness({ job, inherited }) {
  const value = whiteOf(job).white ?? inherited;
  const options = { [PAPER]: 'As bright as the card', auto: 'Also without the light’s color', none: 'As the photo has it' };
  // A place in the photo can be read from a job, and stays as long as nothing else is chosen.
  if (!(value in options)) options[value] = `By the white place ${value}`;
  return (
    <Choice
      legend="The photo's white" hidden={false} value={value} options={options}
      onChange={(v) => edit("the photo's white", (next) => { const holder = whiteOf(next); if (v === inherited && holder === next) delete next.white; else holder.white = v; })}
    />
  );
}

/** A matrix for the board's units, in which lengths are millimeters. */
const inUnits = ({ a, b, c, d, e, f }) => `matrix(${a} ${b} ${c} ${d} ${e * UNIT} ${f * UNIT})`;

/** Which others get the same colors, in words. */
function alike(job, holder, names) {
  const others = imagesOf(job).flatMap((image, i) => (image !== holder && image.art === holder.art && lenderOf(job, image) === holder ? [names[i]] : []));
  return others.length > 0 ? `${others.join(', ')} ${others.length > 1 ? 'are' : 'is'} colored the same: it is the same drawing.` : '';
}

export function Lay() {
  const { job: whole, files } = table.now.value;
  const view = table.plan.value;
  const job = holderOf(whole);
  const card = isCard(whole);
  const cells = useLater(
    async () => ({ art: job.art, ...(await table.ask('cells', card ? { pens: whole.pens, out: whole.out, art: job.art, width: job.width, ...(whole.gap ? { gap: whole.gap } : {}) } : whole)) }),
    [files[job.art], job.width, whole.panel, whole.corners, whole.gap],
  );
  const laid = useLater(async () => (view && job.reference ? shown(await table.ask('laid'), 'image/jpeg') : null), [view?.of, Boolean(job.reference)]);
  const photo = photoOf(job);
  const pairs = pairsOf(job);
  const sources = sourcesOf(job);
  const names = card ? namesOf(whole) : [];
  const index = card ? imagesOf(whole).indexOf(job) : 0;
  const light = imagesOf(whole).concat(whole).some((image) => image.part?.length > 0);
  if (cells.error) return <Trouble error={cells.error} />;
  if (cells.value?.art !== job.art) return <p class="hint">Reading the drawing…</p>;
  const { size_mm: size, cells: list, ink } = cells.value;
  const cellAt = (event) => {
    const found = event.target.closest?.('[data-cell]');
    return found ? list.find((c) => c.cell === Number(found.dataset.cell)) : null;
  };
  const has = (source, cell) => source.cells.some((p) => holds(cell, p));
  // The first that has no places of its own gets all the others.
  const first = sources.find((s) => s.cells.length === 0);
  const rest = first?.photo ? null : first;
  const tap = (at, event) => {
    if (matching.value) { put('art', round(at)); return; }
    const source = sources.find((s) => s.key === giving.value);
    const cell = source && cellAt(event);
    if (!cell) return;
    const point = round(cell.point);
    edit('a place', (next) => {
      for (const s of sourcesOf(next)) {
        if (has(s, cell)) {
          const entry = cellsIn(next, s);
          entry.cells = entry.cells.filter((p) => !holds(cell, p));
        }
      }
      if (!has(source, cell)) { const entry = cellsIn(next, source); entry.cells = [...(entry.cells ?? []), point]; }
      tidy(next);
    });
  };
  // The photo lies in the frame of the whole card; here the drawing lies upright.
  const placed = view?.plan.card?.images.find((image) => image.name === names[index] || image.name === `${names[index]} 1`);
  const upright = card && placed && placement(size, { at: placed.at_mm, turn: placed.piece ? 0 : placed.turn, mirror: placed.mirror }).inverse();
  const alignment = view?.plan.alignment.find((a) => !card || a.photo === photo);
  return (
    <div class="split">
      <div class={matching.value ? 'stage two' : 'stage'}>
        {matching.value && photo && <PhotoPane name={photo} pairs={pairs} />}
        <Board role={matching.value ? 'group' : 'img'} size={size} label="The drawing" onTap={tap}>
          {laid.value && (!card || upright) && (
            <g clip-path="url(#drawing)">
              <image
                href={laid.value.url} width={(card ? view.plan.size_mm : size)[0] * UNIT} height={(card ? view.plan.size_mm : size)[1] * UNIT} preserveAspectRatio="none"
                style={{ opacity: strength.value / 100 }} transform={card ? inUnits(upright) : undefined}
              />
            </g>
          )}
          {list.map((c) => {
            const source = sources.find((s) => has(s, c)) ?? rest;
            const fill = source?.color ?? (source ? 'url(#given)' : 'transparent');
            return <path key={c.cell} class={giving.value ? 'touch cell' : 'cell'} data-cell={c.cell} d={c.path} fill={fill} />;
          })}
          <defs><clipPath id="drawing"><rect width={size[0] * UNIT} height={size[1] * UNIT} /></clipPath><pattern id="given" width="300" height="300" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="90" height="300" class="hatch" /></pattern></defs>
          <path class="ink" d={ink} />
          {matching.value && <PairPins pairs={pairs} place="art" size={size} by={0.5} />}
        </Board>
      </div>
      <div class="side" tabIndex={0} role="group" aria-label="What to do">
        {table.trouble.value && <Trouble error={table.trouble.value} />}
        {card && kinds(whole).length > 1 && (
          <Choice
            legend="Which drawing?" hidden={false} value={String(index)} options={Object.fromEntries(kinds(whole).map((i) => [String(i), names[i]]))}
            onChange={(i) => { which.value = Number(i); giving.value = null; half.value = null; matching.value = false; }}
          />
        )}
        {card && <p class="hint">{alike(whole, job, names)}</p>}
        {giving.value && <p class="now">Tap every place of the drawing that belongs to <b>{sources.find((s) => s.key === giving.value)?.name}</b>. <button type="button" onClick={() => { giving.value = null; }}>Enough places</button></p>}
        {photo && (
          <section aria-labelledby="fit">
            <h2 id="fit">Does the photo lie right?</h2>
            {alignment && <p>Laid by {alignment.told}.{alignment.agreement !== null && ` They agree to ${Math.round(alignment.agreement * 100)} %.`}</p>}
            <Slider label="Photo over the drawing" min={0} max={100} value={strength.value} onChange={(v) => { strength.value = v; }} />
            <button type="button" aria-pressed={matching.value} onClick={() => { matching.value = !matching.value; giving.value = null; half.value = null; }}>{matching.value ? 'That fits' : 'Match places'}</button>
            {matching.value && <p class="now">{half.value ? (half.value.reference ? 'Now tap the same place in the drawing.' : 'Now tap the same place in the photo.') : 'Tap a place in the photo, and the same place in the drawing: a stem, a tip, a corner.'}</p>}
            {pairs.length > 0 && (
              <ol class="pairs">{pairs.map((p, i) => (
                <li key={i}>Place {i + 1} <button type="button" class="quiet" aria-label={`Remove place ${i + 1}`} onClick={() => editPairs('a matching place removed', (l) => l.filter((_, k) => k !== i))}>Remove</button></li>
              ))}</ol>
            )}
            <Brightness job={job} inherited={(card && whole.white) || PAPER} />
          </section>
        )}
        <Sources job={job} light={light ? whole : null} ofCard={card} />
      </div>
    </div>
  );
}
