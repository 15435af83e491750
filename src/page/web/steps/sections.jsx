// Sections and their pens: the plan as it will look, as it is traced, and over the photo; and everything done by hand.
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import * as table from '../card.js';
import { area, Choice, minutes, nearness, Slider, Swatch, Trouble, useLater } from '../parts.jsx';
import { Board, Finished, Ink, Lines, papersOf, sectionOf, shown, Touchable, UNIT } from '../panel.jsx';

/** Pens that are offered for a section. */
const OFFERS = 6;

const look = signal('finished');
const picked = signal(null);
/** What the next tap or line means: null, 'neighbor' or 'cut'. */
const hand = signal(null);
/** Whether a pen is for every place of the tone, or only here. */
const reach = signal('tone');
const trying = signal(false);

const sectionAt = (view, id) => view.plan.sections.find((s) => s.id === id);
const say = (text) => { table.said.value = { text }; };

/** The sections beside one, and how long their common borders are, longest first. */
function beside(view, id) {
  const lengths = new Map();
  for (const b of view.curves.borders) {
    if (!b.traced || (b.left !== id && b.right !== id)) continue;
    const other = b.left === id ? b.right : b.left;
    if (other > 0 && sectionAt(view, other)) lengths.set(other, (lengths.get(other) ?? 0) + b.length_mm);
  }
  return [...lengths].sort((a, b) => b[1] - a[1]).map(([other]) => other);
}

const merge = (view, from, to, about) => table.edit(about, (job) => {
  job.merge = [...(job.merge ?? []), [sectionAt(view, from).inside_mm, sectionAt(view, to).inside_mm]];
});

function pin(view, section, pen, under) {
  const band = view.plan.bands[section.band];
  const choice = { name: pen, ...(under ? { under } : {}) };
  table.edit(`${pen}${reach.value === 'here' ? ' for one section' : ''}`, (job) => {
    const rest = job.pen ?? [];
    job.forbid = (job.forbid ?? []).filter((name) => name !== pen && name !== under);
    if (reach.value === 'here') {
      const other = rest.filter((p) => !(p.at?.length === 1 && p.at[0].join() === section.inside_mm.join()));
      job.pen = [...other, { at: [section.inside_mm], ...choice }];
    } else {
      job.pen = [...rest.filter((p) => p.band !== band.name), { band: band.name, ...choice }];
    }
  });
}

function Stripes({ view, section, offers }) {
  const box = view.plan.size_mm.map((v) => v * UNIT);
  const wide = section.width_mm * UNIT;
  const stripe = Math.max(wide / offers.length, 60);
  return (
    <g>
      <defs>
        <pattern id="offers" patternUnits="userSpaceOnUse" width={stripe * offers.length} height={box[1]} x={section.inside_mm[0] * UNIT - wide / 2} y="0">
          {offers.map((o, i) => <rect key={i} x={i * stripe} width={stripe + 1} height={box[1]} fill={o.color} />)}
        </pattern>
      </defs>
      <path class="picked" d={view.curves.sections[section.id - 1]} style={{ fill: 'url(#offers)' }} />
    </g>
  );
}

function Picked({ view, section, offers }) {
  const number = view.plan.numbers.find((n) => n.number === section.number);
  const band = view.plan.bands[section.band];
  const same = view.plan.sections.filter((s) => s.band === section.band).length;
  const neighbors = beside(view, section.id);
  const color = number?.color ?? view.plan.job.paper;
  const begin = (what, words) => { hand.value = what; say(words); };
  return (
    <section class="picked-card" aria-label="The section">
      <header>
        <b class="number">{section.number || '○'}</b>
        <Swatch color={color} big />
        <div>
          <h2><bdi>{section.pen ?? 'bare paper'}</bdi></h2>
          <p>{band.name} · {area(section.area_mm2)}{same > 1 ? ` · ${same} places of this tone` : ''}</p>
        </div>
        <button type="button" class="quiet" aria-label="Close" onClick={() => { picked.value = null; hand.value = null; }}>&times;</button>
      </header>
      <h3>Another pen</h3>
      {same > 1 && <Choice legend="Another pen for" value={reach.value} options={{ tone: 'all places of this tone', here: 'only here' }} onChange={(v) => { reach.value = v; }} />}
      <div class="row">
        <button type="button" aria-pressed={trying.value} onClick={() => { trying.value = !trying.value; }}>{trying.value ? 'Take the stripes away' : 'See them on the section'}</button>
      </div>
      {offers.error && <Trouble error={offers.error} />}
      <ul class="offers">
        {offers.value?.map((o) => (
          <li key={`${o.pen}/${o.under ?? ''}`}>
            <button type="button" aria-pressed={o.pen === section.pen && (o.under ?? null) === (band.under ?? null)} onClick={() => pin(view, section, o.pen, o.under)}>
              <Swatch color={o.color} />
              <span><bdi>{o.pen}</bdi>{o.under && <small>{o.under === o.pen ? 'two coats' : `over ${o.under}`}</small>}</span>
              <small>{nearness(o.delta_e)}{o.refill ? '' : ' · no refill'}{o.condition === 'worn' ? ' · worn' : ''}</small>
            </button>
          </li>
        ))}
      </ul>
      <h3>The section itself</h3>
      <div class="row">
        <button type="button" onClick={() => { table.edit('a bare section', (job) => { job.bare = [...(job.bare ?? []), section.inside_mm]; }); picked.value = null; }}>Leave it bare</button>
        <button type="button" aria-pressed={hand.value === 'neighbor'} onClick={() => begin('neighbor', 'Tap the section that it should be colored as.')}>Color it as another</button>
        {neighbors.length > 0 && <button type="button" onClick={() => { merge(view, neighbors[0], section.id, 'a section given away'); picked.value = null; }}>Give it to what surrounds it</button>}
        <button type="button" aria-pressed={hand.value === 'cut'} onClick={() => begin('cut', 'Draw a line across, from outside to outside.')}>Cut it</button>
        {section.pen && <button type="button" onClick={() => table.edit(`without ${section.pen}`, (job) => {
          job.forbid = [...new Set([...(job.forbid ?? []), section.pen])];
          job.pen = (job.pen ?? []).filter((p) => p.name !== section.pen && p.under !== section.pen);
        })}>Never use this pen</button>}
      </div>
    </section>
  );
}

function Costs({ figures, before, time, timeBefore }) {
  const more = (now, then, unit) => {
    const d = Math.round(now - then);
    return !before || d === 0 ? '' : ` (${d > 0 ? '+' : '−'}${Math.abs(d)}${unit})`;
  };
  return (
    <p class="costs" aria-live="polite">
      <b>{figures.sections}</b> sections{more(figures.sections, before?.sections, '')}, <b>{Math.round(figures.trace_mm / 10)} cm</b> to trace{more(figures.trace_mm / 10, before?.trace_mm / 10, ' cm')}, about <b>{minutes(time)}</b>{more(time, timeBefore, ' min')}
    </p>
  );
}

const DETAIL = ['few', 'fewer', 'middling', 'more', 'many'];
/** The figures before the last change of this card, to be held against. */
const last = { value: null };
const before = () => (last.value?.card === table.card.value.id ? last.value : null);

function All({ view }) {
  const job = view.plan.job;
  const card = table.card.value.id;
  useEffect(() => () => { last.value = { card, figures: view.plan.figures, time: view.minutes }; }, [view]);
  return (
    <div>
      <h2 class="unseen">All sections</h2>
      <Costs figures={view.plan.figures} before={before()?.figures} time={view.minutes} timeBefore={before()?.time} />
      <Slider label="Detail" min={1} max={5} value={job.detail} words={DETAIL} onChange={(v) => table.edit('the detail', (j) => { j.detail = v; })} />
      <Slider label="Most tones of one color" min={1} max={4} value={job.bands} onChange={(v) => table.edit('the tones', (j) => { j.bands = v; })} />
      <h3>Sections, by number</h3>
      <ul class="list">
        {view.plan.numbers.map((n) => (
          <li key={n.number}>
            <span><b>{n.number || '○'}</b> <Swatch color={n.color} /> <bdi>{n.pen?.name ?? 'bare paper'}</bdi></span>
            <span class="many">
              {view.plan.sections.filter((s) => s.number === n.number).map((s) => (
                <button key={s.id} type="button" onClick={() => { picked.value = s.id; }} aria-label={`Section ${s.id}, ${n.pen?.name ?? 'bare paper'}, ${area(s.area_mm2)}`}>{area(s.area_mm2)}</button>
              ))}
            </span>
          </li>
        ))}
      </ul>
      {view.plan.warnings.length > 0 && (
        <details><summary>{view.plan.warnings.length} {view.plan.warnings.length > 1 ? 'things' : 'thing'} to know</summary>
          <ul class="warnings">{view.plan.warnings.map((w, i) => <li key={i}>{w}</li>)}</ul>
        </details>
      )}
      {(job.forbid?.length > 0) && (
        <details><summary>Pens never used here</summary>
          <div class="row">{job.forbid.map((name) => <button key={name} type="button" onClick={() => table.edit(`${name} again`, (j) => { j.forbid = j.forbid.filter((n) => n !== name); })}>Use {name} again</button>)}</div>
        </details>
      )}
    </div>
  );
}

export function Sections() {
  const view = table.plan.value;
  const laid = useLater(async () => (look.value === 'photo' && view?.plan.alignment.length ? shown(await table.ask('laid'), 'image/jpeg') : null), [look.value, view?.of]);
  // A section of a new plan is found again by its place.
  const section = view && picked.value !== null ? sectionAt(view, picked.value) : null;
  const offers = useLater(async () => (section ? (await table.ask('offers', section.id, OFFERS)) : null), [picked.value, view]);
  useEffect(() => { picked.value = null; hand.value = null; }, [view?.curves]);
  if (!view) {
    return table.trouble.value
      ? <Trouble error={table.trouble.value} />
      : <p class="hint">{table.ready.value ? 'Making the plan…' : 'A plan needs pens, a size, and a photo or a drawing with colors.'}</p>;
  }
  const tap = (at, event) => {
    const id = sectionOf(event);
    if (hand.value === 'neighbor' && section && id && id !== section.id) {
      hand.value = null;
      merge(view, id, section.id, 'a section colored as another');
      return;
    }
    picked.value = id;
  };
  const show = look.value === 'photo' && view.plan.alignment.length === 0 ? 'finished' : look.value;
  const cut = (line) => {
    hand.value = null;
    table.edit('a cut', (job) => { job.cut = [...(job.cut ?? []), { line }]; });
  };
  return (
    <div class="split">
      <div class="stage">
        <Board size={view.plan.size_mm} papers={papersOf(view)} label={`The panel with ${view.plan.figures.sections} sections`} onTap={tap} drawing={hand.value === 'cut'} onLine={cut}>
          {show === 'photo' && laid.value && <image href={laid.value.url} width={view.plan.size_mm[0] * UNIT} height={view.plan.size_mm[1] * UNIT} preserveAspectRatio="none" />}
          {show === 'finished' && <Finished view={view} />}
          {show !== 'finished' && <Touchable view={view} />}
          <Ink view={view} />
          {show !== 'finished' && <Lines view={view} numbers={show === 'lines'} />}
          {section && (trying.value && offers.value?.length ? <Stripes view={view} section={section} offers={offers.value} /> : <path class="picked" d={view.curves.sections[section.id - 1]} />)}
        </Board>
        <Choice legend="Show" value={show} options={{ finished: 'Finished', lines: 'To trace', ...(view.plan.alignment.length > 0 ? { photo: 'Photo' } : {}) }} onChange={(v) => { look.value = v; }} />
      </div>
      <div class="side" tabIndex={0} role="group" aria-label="What to do">
        {table.trouble.value && <Trouble error={table.trouble.value} />}
        {hand.value && <p class="now">{hand.value === 'cut' ? 'Draw a line across the section, from outside to outside.' : 'Tap the section that it should be colored as.'} <button type="button" onClick={() => { hand.value = null; }}>Never mind</button></p>}
        {section ? <Picked view={view} section={section} offers={offers} /> : <p class="hint">Tap a section to change its pen, cut it, or leave it bare.</p>}
        {!section && <All view={view} />}
      </div>
    </div>
  );
}
