// The background: bare, as in the photo, or a pen; each as a small finished panel.
import { useEffect, useState } from 'preact/hooks';
import * as table from '../card.js';
import { Trouble } from '../parts.jsx';
import { Finished, Ink, UNIT } from '../panel.jsx';

/** The panel alone: sheets of pieces have no background. */
function Small({ view, outside, color }) {
  const [x, y, w, h] = (view.plan.card?.grounds[0].rect_mm ?? [0, 0, ...view.plan.size_mm]).map((v) => v * UNIT);
  return (
    <svg viewBox={`${x} ${y} ${w} ${h}`} aria-hidden="true">
      <rect x={x} y={y} width={w} height={h} fill={view.plan.job.paper} />
      {color && <path d={outside} fill={color} fill-rule="evenodd" />}
      <Finished view={view} />
      <Ink view={view} />
    </svg>
  );
}

/** The ranking, and of what: choosing one of it changes nothing of it. */
const known = { of: null, list: null };

export function Around() {
  const view = table.plan.value;
  const job = table.job.value;
  const [ranked, rank] = useState(null);
  const [error, setError] = useState(null);
  const background = job.background ?? false;
  useEffect(() => {
    let current = true;
    if (!view) return undefined;
    const { background: chosen, ...rest } = view.of.job;
    const of = JSON.stringify([rest, view.of.files]);
    if (known.of === of) rank(known.list);
    else {
      rank(null);
      table.ask('backgrounds').then((r) => { Object.assign(known, { of, list: r }); if (current) rank(r); }, (e) => current && setError(e));
    }
    return () => { current = false; };
  }, [view]);
  if (!view) return <p class="hint">Making the plan…</p>;
  const choose = (about, value) => table.edit(about, (next) => { if (value === false) delete next.background; else next.background = value; });
  const pen = typeof background === 'object' ? background.pen : null;
  return (
    <div class="around">
      <p>What lies around the drawing can stay bare, or get one pen. Those that let it stand out best come first.</p>
      {error && <Trouble error={error} />}
      {table.trouble.value && <Trouble error={table.trouble.value} />}
      <ul class="grounds">
        <li><button type="button" aria-pressed={background === false} onClick={() => choose('a bare background', false)}><Small view={view} /><span>Bare paper</span></button></li>
        {job.reference && <li><button type="button" aria-pressed={background === true} onClick={() => choose('the background of the photo', true)}><Small view={view} color="url(#none)" /><span>As in the photo</span><small>sections of its own</small></button></li>}
        {ranked?.list.map((b) => (
          <li key={b.pen}>
            <button type="button" aria-pressed={pen === b.pen} onClick={() => choose(`${b.pen} around`, { pen: b.pen })}>
              <Small view={view} outside={ranked.outside} color={b.color} />
              <span><bdi>{b.pen}</bdi></span><small>{Math.round(b.area_mm2 / 100)} cm²{b.refill ? '' : ', no refill'}</small>
            </button>
          </li>
        ))}
      </ul>
      {!ranked && !error && <p class="hint">Trying your pens…</p>}
    </div>
  );
}
