// The last step: printing, the guide, and the whole folder.
import { useEffect, useRef, useState } from 'preact/hooks';
import * as table from '../card.js';
import { save } from '../files.js';
import { wholeFolder } from '../folder.js';
import { area, minutes, Swatch, Trouble, useLater, useSheet } from '../parts.jsx';
import { Board, Finished, Ink, UNIT } from '../panel.jsx';

const named = () => table.card.value.name.replace(/[^\p{L}\p{N} _-]+/gu, '').trim() || 'card';

function Guide({ url, onClose }) {
  const frame = useRef(null);
  useEffect(() => { frame.current.focus(); }, []);
  return (
    <div class="guide" role="dialog" aria-label="The guide">
      <button type="button" onClick={onClose}>&lsaquo; Back to the card</button>
      <iframe ref={frame} src={url} title="Coloring guide" />
    </div>
  );
}

const cuts = (names) => names.filter((name) => /^cut-\d+\.svg$/.test(name));

/** What is done before the first pen: stamping, with the masks for it. */
function Stamp({ card, names, file, busy }) {
  return (
    <>
      <h2>Stamp</h2>
      <p>The layout shows at true size where each stamp goes{names.includes('masks.pdf') ? '; the masks are cut out and cover what lies in front while the rest is stamped' : ''}.</p>
      <div class="row">
        {names.includes('layout.pdf') && <button type="button" class="main" disabled={busy} onClick={() => file('layout.pdf', 'application/pdf')}>Layout to print</button>}
        {names.includes('masks.pdf') && <button type="button" disabled={busy} onClick={() => file('masks.pdf', 'application/pdf')}>Masks to print</button>}
      </div>
      {card.stamping.length > 0 && <details><summary>In this order</summary><ol class="steps">{card.stamping.map((s, i) => <li key={i}>{s.say}</li>)}</ol></details>}
      {names.includes('masks.pdf') && <p class="small">Blades are sharp: cut away from yourself, on a mat, with a metal ruler, and put the cover back on.</p>}
    </>
  );
}

export function Color() {
  const view = table.plan.value;
  const [guide, setGuide] = useState(null);
  const [error, setError] = useState(null);
  const [at, setAt] = useState(null);
  const { card } = view?.plan ?? {};
  // Of a card the picture with the pieces glued on.
  const preview = useSheet(card ? 'preview.png' : null, view?.of);
  const names = useLater(() => (card ? table.ask('names') : []), [view?.of]);
  if (!view) return table.trouble.value ? <Trouble error={table.trouble.value} /> : <p class="hint">Making the plan…</p>;
  const get = async (what, then) => {
    try { setError(null); setAt({ what }); await then(); } catch (e) { setError(e); } finally { setAt(null); }
  };
  const file = (name, type) => get(name, async () => save(`${named()} ${name}`, await table.ask('file', name), type));
  const openGuide = () => get('guide', async () => {
    const blob = new Blob([await table.ask('file', 'guide.html')], { type: 'text/html' });
    setGuide(URL.createObjectURL(blob));
  });
  const zip = () => get('folder', async () => save(`${named()}.zip`, await wholeFolder((i, of) => setAt({ what: 'folder', i, of })), 'application/zip'));
  const numbers = view.plan.numbers;
  return (
    <div class="split">
      <div class="stage">
        {card
          ? <Board size={card.grounds[0].rect_mm.slice(2)} label="The finished card">{preview.value && <image href={preview.value} width={card.grounds[0].rect_mm[2] * UNIT} height={card.grounds[0].rect_mm[3] * UNIT} preserveAspectRatio="none" />}</Board>
          : <Board size={view.plan.size_mm} label="The finished panel"><Finished view={view} /><Ink view={view} /></Board>}
      </div>
      <div class="side" tabIndex={0} role="group" aria-label="What to do">
        {error && <Trouble error={{ what: error.message, next: error.next }} />}
        {card && <Stamp card={card} names={names.value ?? []} file={file} busy={at !== null} />}
        <h2>Trace</h2>
        <p>Print the overlay at 100 %, without “fit to page”. Lay a ruler on the printed one: it must measure 50 mm. Then pencil the lines lightly onto your panel.</p>
        <div class="row">
          <button type="button" class="main" disabled={at !== null} onClick={() => file('overlay.pdf', 'application/pdf')}>Overlay to print</button>
          <button type="button" disabled={at !== null} onClick={() => file('key.pdf', 'application/pdf')}>Key to print</button>
        </div>
        <h2>Color</h2>
        <p>About {minutes(view.minutes)}, with {view.plan.schedule.turns.length} turns. The guide says what comes next, and what has to dry first.</p>
        <div class="row"><button type="button" class="main" disabled={at !== null} onClick={openGuide}>Open the guide</button></div>
        {card?.finishing.length > 0 && (
          <>
            <h2>Cut out and glue on</h2>
            <ol class="steps">{card.finishing.map((s, i) => <li key={i}>{s.say}</li>)}</ol>
            <div class="row">{cuts(names.value ?? []).map((name, i, all) => <button key={name} type="button" disabled={at !== null} onClick={() => file(name, 'image/svg+xml')}>Cut lines{all.length > 1 ? `, sheet ${i + 1}` : ''} for a cutting machine</button>)}</div>
          </>
        )}
        <h2>Keep</h2>
        <p>Everything in one file: the choices, your pictures, and all sheets. Open it again here, on any device.</p>
        <div class="row"><button type="button" disabled={at !== null} onClick={zip}>{at?.what === 'folder' ? `Making it${at.of ? `, ${at.i} of ${at.of}` : ''}…` : 'Save the card'}</button></div>
        <h2>Pens to lay out</h2>
        <ul class="lay-out">{numbers.filter((n) => n.pen).map((n) => (
          <li key={n.number}><b>{n.number}</b> <Swatch color={n.color} /> <bdi>{n.pen.name}</bdi> <small>{area(n.area_mm2)}{n.pen.refill ? '' : ' · no refill'}</small></li>
        ))}</ul>
        <h2>Take care</h2>
        <p class="small">Alcohol inks give off fumes: air the room, keep them from flames and children, and follow what the maker's label and your local rules say.</p>
      </div>
      {guide && <Guide url={guide} onClose={() => { URL.revokeObjectURL(guide); setGuide(null); }} />}
    </div>
  );
}
