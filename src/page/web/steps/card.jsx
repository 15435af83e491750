// The card: stamps and pieces as they lie on the panel, to be moved, turned, and laid over one another.
import { signal } from '@preact/signals';
import { useEffect, useRef, useState } from 'preact/hooks';
import * as table from '../card.js';
import { bytesOf, DRAWINGS, kindOf, nameFor, widthOfSvg } from '../files.js';
import { FileButton, LengthField, NumberField, Trouble, useLater } from '../parts.jsx';
import { ARROWS, Board, holds, pointed, UNIT } from '../panel.jsx';
import {
  addPiece, addStamp, backToFront, bringOver, imagesOf, lend, lenderOf, list, mapHand, mm, nameAll, namesOf, panelMm, placement,
  removeImage, rename, resize, rounded, setOver, sizeOf, turned, widthFor,
} from '../stamps.js';
import { PANELS } from './bring.jsx';

/** What is chosen: { kind: 'stamp' | 'piece', i, k }, `k` being which of a piece's places; null for nothing. */
const chosen = signal(null);
const same = (a, b) => a && b && a.kind === b.kind && a.i === b.i && a.k === b.k;
/** Half of the least target, in screen pixels. */
const REACH_PX = 22;
/** How far the handle for turning stands off, in screen pixels. */
const OFF_PX = 30;

/** What lies on the panel, from back to front. */
const lying = (job) => [
  ...backToFront(job).map((i) => ({ kind: 'stamp', i, k: 0, entry: job.stamp[i], at: job.stamp[i].at })),
  ...(job.piece ?? []).flatMap((entry, i) => (entry.at ?? []).map((at, k) => ({ kind: 'piece', i, k, entry, at }))),
];
const entryOf = (job, item) => job[item.kind]?.[item.i];
const indexOf = (job, { kind, i }) => (kind === 'stamp' ? i : (job.stamp?.length ?? 0) + i);

/** The image that lies at a point of the plan's frame: that of the section whose middle is nearest. */
function imageAt(view, [x, y]) {
  const far = (s) => Math.hypot(s.inside_mm[0] - x, s.inside_mm[1] - y);
  return view.plan.sections.reduce((best, s) => (!best || far(s) < far(best) ? s : best), null)?.image;
}

/** Changes the card; every image has a name before, and hand-made changes of sections go with their stamp, or go. */
function edit(about, change, after) {
  const view = table.plan.value;
  const before = table.job.value;
  let gone = 0;
  table.edit(about, (job) => {
    nameAll(job);
    const files = change(job);
    if (view) gone = carry(job, before, view);
    return { ...unused(job), ...files };
  });
  after?.();
  if (gone > 0) table.said.value = { text: 'What was changed by hand on its sections is gone with it. Undo brings it back.' };
}

/** The image that each thing done by hand is on, in the order of `mapHand`: as the plan made last has them. */
function handled(view) {
  const images = [];
  mapHand(structuredClone(view.of.job), (points) => { images.push(imageAt(view, points[0])); return points; });
  return images;
}

/** Takes what a hand did along with the stamps it was done on; what lay on a piece or on something gone is dropped. */
function carry(job, before, view) {
  const images = handled(view);
  const names = namesOf(view.of.job);
  const called = namesOf(before);
  const stamps = before.stamp ?? [];
  // Pieces lie on their sheets as there is room.
  const sheets = (of) => JSON.stringify([(of.piece ?? []).map(({ name, ...piece }) => piece), of.pieces, of.panel.size]);
  const nested = sheets(job) === sheets(before);
  let n = 0;
  let gone = 0;
  mapHand(job, (points) => {
    const image = images[n];
    n += 1;
    if (image === undefined || image === null) return points;
    const onPiece = image >= (view.of.job.stamp?.length ?? 0);
    if (onPiece && nested) return points;
    const at = onPiece ? -1 : called.indexOf(names[image]);
    const then = stamps[at];
    // It may just have got another name.
    const stamp = then && (job.stamp?.find((s) => s.name === called[at]) ?? (job.stamp?.length === stamps.length ? job.stamp[at] : null));
    if (!stamp) {
      gone += 1;
      return null;
    }
    // About its middle: its height is not asked for.
    const lies = (s, scale) => placement([0, 0], s).scale(scale);
    const move = lies(stamp, mm(stamp.width) / mm(then.width)).multiply(lies(then, 1).inverse());
    return points.map(([x, y]) => { const p = move.transformPoint(new DOMPoint(x, y)); return [rounded(p.x, 2), rounded(p.y, 2)]; });
  });
  return gone;
}

/** Files that nothing on the card asks for any more, to be removed. */
function unused(job) {
  const text = new Set();
  const look = (v) => { if (typeof v === 'string') text.add(v); else if (v && typeof v === 'object') Object.values(v).forEach(look); };
  look(job);
  return Object.fromEntries(Object.keys(table.now.value.files).filter((name) => name !== table.PENS && !text.has(name)).map((name) => [name, null]));
}

const choose = (item) => { chosen.value = item; };
const editChosen = (about, change) => edit(about, (job) => change(entryOf(job, chosen.value), job));
const setAt = (entry, item, at) => {
  const place = at.map((v) => rounded(v));
  if (item.kind === 'stamp') entry.at = place; else entry.at[item.k] = place;
};
const moveTo = (item, at) => edit(`${namesOf(table.job.value)[indexOf(table.job.value, item)]} moved`, (job) => setAt(entryOf(job, item), item, at));
const turnTo = (item, turn) => edit(`${namesOf(table.job.value)[indexOf(table.job.value, item)]} turned`, (job) => {
  const degrees = turned(turn);
  if (degrees === 0) delete entryOf(job, item).turn; else entryOf(job, item).turn = degrees;
});

/** Takes the chosen thing away: a stamp, one place of a piece, or a piece that is glued nowhere else. */
function takeAway(item, whole = false) {
  edit(`${namesOf(table.job.value)[indexOf(table.job.value, item)]} taken away`, (job) => {
    const entry = entryOf(job, item);
    if (item.kind === 'piece' && !whole && entry.at.length > 1) {
      entry.at.splice(item.k, 1);
      if (entry.count) entry.count = Math.max(entry.count - 1, entry.at.length);
    } else removeImage(job, item.kind, item.i);
  }, () => choose(null));
}

// ---- drawings of the arts
const read = new Map();
/** An art's cells and ink at a width: { size_mm, cells, ink }; read once. */
function drawingOf(job, entry) {
  const key = [table.now.value.files[entry.art], entry.width, job.gap].join();
  if (!read.has(key)) {
    const made = table.ask('cells', { pens: job.pens, out: job.out, art: entry.art, width: entry.width, ...(job.gap ? { gap: job.gap } : {}) });
    made.catch(() => read.delete(key));
    read.set(key, made);
  }
  return read.get(key);
}

/** Every image's drawing: by its lender's width, so that its places lie where they are told. */
async function drawingsOf(job) {
  const all = await Promise.all(imagesOf(job).map((entry) => drawingOf(job, lenderOf(job, entry))));
  return imagesOf(job).map((entry, i) => {
    const lender = lenderOf(job, entry);
    const rest = lender.part?.find((part) => !part.cells?.length);
    const bare = lender.bare_cells ?? [];
    const fills = all[i].cells.map((cell) => {
      if (bare.some((p) => holds(cell, p))) return null;
      return (lender.part?.find((part) => part.cells?.some((p) => holds(cell, p))) ?? rest)?.color ?? null;
    });
    return { ...all[i], fills, art: entry.art };
  });
}

/** One stamp or piece as it lies. */
function Lying({ item, drawing, size, px, name, held, hold }) {
  const { entry } = item;
  const on = same(chosen.value, item);
  const now = held && same(held.item, item) ? held : null;
  const at = now?.at ?? item.at;
  const turn = now?.turn ?? entry.turn ?? 0;
  const [w, h] = drawing.size_mm;
  const scale = mm(entry.width) / w;
  const start = (event) => {
    event.stopPropagation();
    choose({ kind: item.kind, i: item.i, k: item.k });
    event.currentTarget.setPointerCapture(event.pointerId);
    const p = pointed(event, event.currentTarget.parentNode, [Infinity, Infinity]);
    hold({ item, from: [p[0] - item.at[0], p[1] - item.at[1]], at: item.at });
  };
  const move = (event) => {
    if (!now?.from) return;
    const p = pointed(event, event.currentTarget.parentNode, [Infinity, Infinity]);
    hold({ ...now, at: p.map((v, k) => Math.min(Math.max(v - now.from[k], 0), size[k])), moved: true });
  };
  const end = () => { if (now?.from) { if (now.moved) moveTo(item, now.at); hold(null); } };
  const key = (event) => {
    const way = ARROWS[event.key];
    const by = event.shiftKey ? 0.1 : 1;
    if (way) moveTo(item, item.at.map((v, k) => Math.min(Math.max(v + way[k] * by, 0), size[k])));
    else if (event.key === 'Delete' || event.key === 'Backspace') takeAway(item);
    else if (event.key === 'Enter' || event.key === ' ') choose({ kind: item.kind, i: item.i, k: item.k });
    else if (event.key === 'Escape') choose(null);
    else return;
    event.preventDefault();
  };
  const matrix = `translate(${at[0] * UNIT} ${at[1] * UNIT}) rotate(${turn})`;
  return (
    <g
      class={`lying ${item.kind}${on ? ' on' : ''}`} data-grip data-image={name} transform={matrix} tabindex={0} role="button" aria-pressed={on}
      aria-label={`${name}${item.kind === 'piece' ? ', a piece glued on' : ''}; move it with the arrow keys, by a tenth with shift`}
      onClick={(event) => event.stopPropagation()} onPointerDown={start} onPointerMove={move} onPointerUp={end} onPointerCancel={() => hold(null)} onKeyDown={key}
    >
      <g transform={`scale(${entry.mirror ? -scale : scale} ${scale}) translate(${(-w / 2) * UNIT} ${(-h / 2) * UNIT})`}>
        {drawing.cells.map((cell, k) => <path key={cell.cell} class="solid" d={cell.path} style={drawing.fills[k] ? { fill: drawing.fills[k] } : undefined} />)}
        <path class="stamped" d={drawing.ink} />
      </g>
      <circle class="reach" r={(REACH_PX / px) * UNIT} />
    </g>
  );
}

/** The frame around what is chosen, with the handle that turns it. */
function Frame({ item, drawing, size, px, name, held, hold }) {
  const { entry } = item;
  const now = held && same(held.item, item) ? held : null;
  const at = now?.at ?? item.at;
  const turn = now?.turn ?? entry.turn ?? 0;
  const scale = mm(entry.width) / drawing.size_mm[0];
  const [w, h] = drawing.size_mm.map((v) => v * scale);
  const off = OFF_PX / px;
  // The handle stands where there is room for it: above, or below.
  const tip = (side) => { const r = (turn * Math.PI) / 180; const d = side * (h / 2 + off); return [at[0] - Math.sin(r) * d, at[1] + Math.cos(r) * d]; };
  const inside = (p) => p.every((v, k) => v > -off / 2 && v < size[k] + off / 2);
  const side = now?.side ?? (inside(tip(-1)) || !inside(tip(1)) ? -1 : 1);
  const end = side * (h / 2 + off) * UNIT;
  return (
    <g class="frame" transform={`translate(${at[0] * UNIT} ${at[1] * UNIT}) rotate(${turn})`}>
      <rect x={(-w / 2) * UNIT} y={(-h / 2) * UNIT} width={w * UNIT} height={h * UNIT} stroke-width={(1.5 / px) * UNIT} stroke-dasharray={`${(6 / px) * UNIT} ${(4 / px) * UNIT}`} />
      <line y1={side * (h / 2) * UNIT} y2={end} stroke-width={(1.5 / px) * UNIT} />
      <g
        class="turner" data-grip transform={`translate(0 ${end})`} tabindex={0} role="slider" aria-label={`Turn ${name}`} aria-valuemin={-180} aria-valuemax={180} aria-valuenow={turn}
        onClick={(event) => event.stopPropagation()}
        onPointerDown={(event) => { event.stopPropagation(); event.currentTarget.setPointerCapture(event.pointerId); hold({ item, turn, side, turning: true }); }}
        onPointerMove={(event) => {
          if (!now?.turning) return;
          const board = event.currentTarget.parentNode.parentNode;
          const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(board.getScreenCTM().inverse());
          const angle = (Math.atan2(p.y / UNIT - at[1], p.x / UNIT - at[0]) * 180) / Math.PI;
          hold({ ...now, turn: turned(Math.round(angle - side * 90)), moved: true });
        }}
        onPointerUp={() => { if (now?.turning) { if (now.moved) turnTo(item, now.turn); hold(null); } }}
        onPointerCancel={() => hold(null)}
        onKeyDown={(event) => {
          const way = ARROWS[event.key];
          if (!way) return;
          event.preventDefault();
          turnTo(item, turn + (way[0] - way[1]) * (event.shiftKey ? 0.1 : 1));
        }}
      >
        <circle class="reach" r={(REACH_PX / px) * UNIT} />
        <circle r={(11 / px) * UNIT} stroke-width={(2 / px) * UNIT} />
        <path d="M-4.2 -1.6A4.5 4.5 0 1 1 -2.6 3.7M-4.6 -5V-1.4H-1" transform={`scale(${UNIT / px})`} />
      </g>
    </g>
  );
}

// ---- the side
function One({ job, item, name }) {
  const entry = entryOf(job, item);
  const names = namesOf(job);
  const stamps = job.stamp ?? [];
  const others = stamps.map((_, k) => k).filter((k) => item.kind !== 'stamp' || k !== item.i);
  const at = item.kind === 'stamp' ? entry.at : entry.at?.[item.k];
  const lender = lenderOf(job, entry);
  const say = (text) => { table.said.value = { text }; };
  const called = (text) => {
    const next = text.trim();
    if (!next || next === name) return;
    if (names.includes(next)) { say(`Something else here is called ${next} already.`); return; }
    edit(`${name} is called ${next}`, (fresh) => rename(fresh, item.kind, item.i, next));
  };
  const again = () => {
    if (item.kind === 'piece') {
      edit(`${name} once more`, (fresh) => {
        const piece = entryOf(fresh, item);
        piece.at = [...(piece.at ?? []), [...(at ?? panelMm(fresh).map((v) => v / 2))].map((v) => rounded(v + 8))];
        if (piece.count) piece.count = Math.max(piece.count, piece.at.length);
      }, () => choose({ ...item, k: entry.at?.length ?? 0 }));
      return;
    }
    edit(`${name} once more`, (fresh) => {
      const stamp = structuredClone(entryOf(fresh, item));
      // The copy gets the colors of the first: they are told once.
      for (const key of ['reference', 'align', 'match', 'white', 'part', 'bare_cells']) delete stamp[key];
      addStamp(fresh, { ...stamp, at: stamp.at.map((v) => rounded(v + 8)) });
    }, () => choose({ kind: 'stamp', i: stamps.length, k: 0 }));
  };
  const asPiece = () => edit(`${name} as a piece`, (fresh) => { addPiece(fresh, { art: entry.art, width: entry.width }); }, () => choose({ kind: 'piece', i: job.piece?.length ?? 0, k: 0 }));
  const place = (k) => (v) => moveTo(item, at.map((old, n) => (n === k ? v : old)));
  return (
    <section class="picked-card" aria-label={name}>
      <header>
        <div><h2><bdi>{name}</bdi></h2><p>{item.kind === 'piece' ? `A piece, colored on card of its own and glued on${(entry.at?.length ?? 0) > 1 ? `; place ${item.k + 1} of ${entry.at.length}` : ''}.` : 'A stamp.'}{lender !== entry && ` Colored as ${names[imagesOf(job).indexOf(lender)]}.`}</p></div>
        <button type="button" class="quiet" aria-label="Close" onClick={() => choose(null)}>&times;</button>
      </header>
      <div class="row">
        {item.kind === 'stamp' && others.length > 0 && (
          <>
            <button type="button" onClick={() => edit(`${name} to the front`, (fresh) => bringOver(fresh, item.i, others))}>Bring to the front</button>
            <button type="button" onClick={() => edit(`${name} to the back`, (fresh) => {
              setOver(fresh.stamp[item.i], []);
              for (const k of others) setOver(fresh.stamp[k], [...new Set([...list(fresh.stamp[k].over), name])]);
            })}>Send to the back</button>
          </>
        )}
        <button type="button" onClick={again}>{item.kind === 'piece' ? 'Glue one more on' : 'Stamp it once more'}</button>
        <button type="button" onClick={() => takeAway(item)}>Take it away</button>
      </div>
      <div class="field"><label><span>Name</span><input value={name} maxLength={60} onChange={(event) => called(event.currentTarget.value)} /></label></div>
      {at && (
        <div class="field">
          <NumberField label="From the left, mm" value={at[0]} onChange={place(0)} />
          <NumberField label="From the top, mm" value={at[1]} onChange={place(1)} />
          <NumberField label="Turned, degrees" value={entry.turn ?? 0} onChange={(v) => turnTo(item, v)} />
        </div>
      )}
      <LengthField key={`${item.kind}${item.i}`} label="Width of the whole drawing" value={entry.width} onChange={(v) => editChosen(`the width of ${name}`, (e) => resize(e, v))} />
      <label class="check"><input type="checkbox" checked={Boolean(entry.mirror)} onChange={(event) => { const on = event.currentTarget.checked; editChosen(`${name} mirrored`, (e) => { if (on) e.mirror = true; else delete e.mirror; }); }} />Mirrored, left to right</label>
      {item.kind === 'piece' && (
        <div class="field">
          <NumberField label="How many to make" value={entry.count ?? entry.at?.length ?? 1} min={Math.max(1, entry.at?.length ?? 0)} step={1} onChange={(v) => editChosen(`how many of ${name}`, (e) => { e.count = Math.max(1, Math.round(v), e.at?.length ?? 0); })} />
          <NumberField label="Cut outside the line, mm" value={entry.cut ? mm(entry.cut) : 1} min={0.3} max={2} step={0.1} onChange={(v) => editChosen(`the cut of ${name}`, (e) => { e.cut = `${v}mm`; })} />
        </div>
      )}
      {item.kind === 'stamp' && others.length > 0 && (
        <fieldset class="checks"><legend>It lies in front of</legend>
          {others.map((k) => (
            <label key={k}><input type="checkbox" checked={list(entry.over).includes(names[k])} onChange={(event) => {
              const over = event.currentTarget.checked;
              edit(`${name} ${over ? '' : 'not '}in front of ${names[k]}`, (fresh) => {
                if (over) bringOver(fresh, item.i, [k]); else setOver(fresh.stamp[item.i], list(fresh.stamp[item.i].over).filter((n) => n !== names[k]));
              });
            }} />{names[k]}</label>
          ))}
        </fieldset>
      )}
      <div class="row">
        {item.kind === 'stamp' && <button type="button" onClick={asPiece}>Also as a piece to glue on</button>}
        {lender !== entry && <button type="button" onClick={() => editChosen(`colors of its own for ${name}`, (e, fresh) => lend(lenderOf(fresh, e), e))}>Colors of its own</button>}
      </div>
    </section>
  );
}

async function bringDrawing([file], add, about) {
  const name = nameFor(file, Object.keys(table.now.value.files));
  const data = await bytesOf(file);
  const own = kindOf(file) === 'drawing' ? widthOfSvg(data) : null;
  edit(about, (job) => { add(job, { art: name, width: widthFor(job, own) }); return { [name]: data }; });
}
/** A stamp from a file. */
export const bringStamp = (files) => bringDrawing(files, addStamp, 'one more stamp').then(() => choose({ kind: 'stamp', i: table.job.value.stamp.length - 1, k: 0 }));
const bringPiece = (files) => bringDrawing(files, addPiece, 'a piece to glue on').then(() => choose({ kind: 'piece', i: table.job.value.piece.length - 1, k: 0 }));

const isSize = (name, [w, h]) => { const size = sizeOf(name); return size && Math.abs(size[0] - w) < 0.1 && Math.abs(size[1] - h) < 0.1; };
/** The size of a sheet of card, by name or typed. */
export function SizeChoice({ label, value, onChange }) {
  const size = sizeOf(value) ?? [0, 0];
  const lies = size[0] > size[1];
  const upright = lies ? [size[1], size[0]] : size;
  const known = Object.keys(PANELS).find((name) => isSize(name, upright));
  const [own, setOwn] = useState(!known);
  const say = (name, lying) => { const [w, h] = sizeOf(name); onChange(lying ? `${rounded(Math.max(w, h), 2)}x${rounded(Math.min(w, h), 2)}mm` : name); };
  return (
    <div class="field">
      <label><span>{label}</span>
        <select value={own || !known ? 'own' : known} onChange={(event) => { const v = event.currentTarget.value; setOwn(v === 'own'); if (v !== 'own') say(v, lies); }}>
          {Object.entries(PANELS).map(([k, v]) => <option key={k} value={k}>{v}</option>)}
          <option value="own">another size</option>
        </select>
      </label>
      {own || !known
        ? <label><span>Width x height</span><input value={known ? '' : value} placeholder="120 x 120 mm" onChange={(event) => event.currentTarget.value && onChange(event.currentTarget.value)} /></label>
        : <label class="check"><input type="checkbox" checked={lies} onChange={(event) => say(known, event.currentTarget.checked)} />it lies on its side</label>}
    </div>
  );
}

function All({ job, view }) {
  const names = namesOf(job);
  const pieces = job.piece ?? [];
  const told = view?.of.job === job ? view.plan.card : null;
  return (
    <div>
      <p class="hint">Drag a stamp to where it belongs; tap it to turn it, mirror it, or lay it over another.</p>
      <h2>Stamps and pieces</h2>
      <ul class="list">
        {(job.stamp ?? []).map((_, i) => <li key={`s${i}`}><span><bdi>{names[i]}</bdi></span><button type="button" aria-label={`Choose ${names[i]}`} onClick={() => choose({ kind: 'stamp', i, k: 0 })}>Choose</button></li>)}
        {pieces.map((piece, i) => {
          const name = names[(job.stamp?.length ?? 0) + i];
          return <li key={`p${i}`}><span><bdi>{name}</bdi> <small>{piece.count ?? piece.at?.length ?? 1} to cut out and glue on</small></span><button type="button" aria-label={`Choose ${name}`} onClick={() => choose({ kind: 'piece', i, k: 0 })}>Choose</button></li>;
        })}
      </ul>
      <div class="row">
        <FileButton label="Add a stamp" accept={DRAWINGS} onFiles={bringStamp} />
        <FileButton label="Add a piece to glue on" accept={DRAWINGS} onFiles={bringPiece} />
      </div>
      <h2>The panel</h2>
      <SizeChoice label="Size" value={job.panel.size} onChange={(v) => edit("the panel's size", (next) => { next.panel.size = v; })} />
      <div class="field"><NumberField label="Masks: inside the line, mm" value={job.panel.mask ? mm(job.panel.mask) : 0.5} min={0} max={2} step={0.1} onChange={(v) => edit('where masks are cut', (next) => { next.panel.mask = `${v}mm`; })} /></div>
      {pieces.length > 0 && <SizeChoice label="Card that pieces are stamped on" value={job.pieces?.size ?? 'A5'} onChange={(v) => edit('the card for pieces', (next) => { next.pieces = { ...next.pieces, size: v }; })} />}
      {told?.stamping.length > 0 && (
        <>
          <h2>How it is stamped</h2>
          <ol class="steps">{told.stamping.map((s, i) => <li key={i}>{s.say}</li>)}</ol>
        </>
      )}
    </div>
  );
}

export function Card() {
  const { job } = table.now.value;
  const view = table.plan.value;
  const size = panelMm(job);
  const drawings = useLater(() => drawingsOf(job), [table.now.value]);
  const [held, hold] = useState(null);
  const [px, setPx] = useState(3);
  const stage = useRef(null);
  useEffect(() => {
    const look = new ResizeObserver(([{ contentRect: box }]) => setPx(Math.min(box.width / size[0], box.height / size[1]) / 1.06));
    look.observe(stage.current);
    return () => look.disconnect();
  }, [size[0], size[1]]);
  const items = lying(job);
  const known = drawings.value ?? [];
  const names = namesOf(job);
  const drawing = (item) => { const found = known[indexOf(job, item)]; return found?.art === item.entry.art ? found : known.find((d) => d.art === item.entry.art); };
  const entry = chosen.value && entryOf(job, chosen.value);
  const item = entry && (items.find((it) => same(it, chosen.value)) ?? (chosen.value.kind === 'piece' ? items.find((it) => it.kind === 'piece' && it.i === chosen.value.i) : null));
  const picked = item ?? (entry ? { ...chosen.value, entry } : null);
  const shared = (it) => ({ item: it, drawing: drawing(it), size, px, name: names[indexOf(job, it)], held, hold });
  return (
    <div class="split">
      <div class="stage" ref={stage}>
        <Board role="group" size={size} label="The panel with its stamps" onTap={() => choose(null)}>
          {items.map((it) => drawing(it) && <Lying key={`${it.kind} ${names[indexOf(job, it)]} ${it.k}`} {...shared(it)} />)}
          {item && drawing(item) && <Frame {...shared(item)} />}
        </Board>
      </div>
      <div class="side" tabIndex={0} role="group" aria-label="What to do">
        {(drawings.error || table.trouble.value) && <Trouble error={drawings.error ? { what: drawings.error.message, next: drawings.error.next } : table.trouble.value} />}
        {picked ? <One job={job} item={picked} name={names[indexOf(job, picked)]} /> : <All job={job} view={view} />}
      </div>
    </div>
  );
}
