// The last step: printing, the guide, and the whole folder.
import { useEffect, useRef, useState } from 'preact/hooks';
import * as table from '../card.js';
import { save } from '../files.js';
import { wholeFolder } from '../folder.js';
import { area, minutes, Swatch, Trouble } from '../parts.jsx';
import { Board, Finished, Ink } from '../panel.jsx';

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

export function Color() {
  const view = table.plan.value;
  const [guide, setGuide] = useState(null);
  const [error, setError] = useState(null);
  const [at, setAt] = useState(null);
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
      <div class="stage"><Board size={view.plan.size_mm} label="The finished panel"><Finished view={view} /><Ink view={view} /></Board></div>
      <div class="side" tabIndex={0} role="group" aria-label="What to do">
        {error && <Trouble error={{ what: error.message, next: error.next }} />}
        <h2>Trace</h2>
        <p>Print the overlay at 100 %, without “fit to page”. Lay a ruler on the printed one: it must measure 50 mm. Then pencil the lines lightly onto your panel.</p>
        <div class="row">
          <button type="button" class="main" disabled={at !== null} onClick={() => file('overlay.pdf', 'application/pdf')}>Overlay to print</button>
          <button type="button" disabled={at !== null} onClick={() => file('key.pdf', 'application/pdf')}>Key to print</button>
        </div>
        <h2>Color</h2>
        <p>About {minutes(view.minutes)}, with {view.plan.schedule.turns.length} turns. The guide says what comes next, and what has to dry first.</p>
        <div class="row"><button type="button" class="main" disabled={at !== null} onClick={openGuide}>Open the guide</button></div>
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
