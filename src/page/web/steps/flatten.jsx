// The panel in its photo: four corners to drag, and the panel as it lies flat.
import { useEffect, useRef, useState } from 'preact/hooks';
import * as table from '../card.js';
import { pictureOf } from '../files.js';
import { Trouble, useLater } from '../parts.jsx';
import { shown } from '../panel.jsx';

const NAMES = ['top left', 'top right', 'bottom right', 'bottom left'];
/** How far a key moves a corner, in pixels of the photo; with shift, one. */
const KEY_PX = 8;
/** Side of the magnifier, on the screen, and how much larger it shows. */
const GLASS_PX = 132;
const GLASS = 3;

export function Flatten() {
  const { job, files } = table.now.value;
  const picture = useLater(() => pictureOf(job.art), [files[job.art]]);
  const found = useLater(() => (job.corners ? job.corners : table.ask('corners', job.art, job.panel)), [files[job.art], job.panel, job.corners]);
  const flat = useLater(async () => shown(await table.ask('page', job)), [files[job.art], job.panel, job.corners]);
  const [held, hold] = useState(null);
  const frame = useRef(null);
  const [size, setSize] = useState([0, 0]);
  useEffect(() => {
    if (!picture.value) return undefined;
    const look = new ResizeObserver(([entry]) => setSize([entry.contentRect.width, entry.contentRect.height]));
    look.observe(frame.current);
    return () => look.disconnect();
  }, [picture.value]);
  if (picture.error) return <Trouble error={picture.error} />;
  if (!picture.value) return <p class="hint">Opening the photo…</p>;
  const { url, fullWidth: w, fullHeight: h } = picture.value;
  const guess = [[0.15, 0.15], [0.85, 0.15], [0.85, 0.85], [0.15, 0.85]].map(([x, y]) => [x * w, y * h]);
  const corners = held?.corners ?? job.corners ?? found.value ?? (found.error ? guess : null);
  const scale = size[0] / w;
  const set = (next) => table.edit('the corners', (j) => { j.corners = next.map((p) => p.map((v) => Math.round(v * 10) / 10)); });
  const moved = (i, p) => corners.map((c, k) => (k === i ? [Math.min(Math.max(p[0], 0), w), Math.min(Math.max(p[1], 0), h)] : c));
  const at = (event) => {
    const box = frame.current.getBoundingClientRect();
    return [((event.clientX - box.left) / box.width) * w, ((event.clientY - box.top) / box.height) * h];
  };
  const grip = (i) => ({
    onPointerDown: (event) => { event.currentTarget.setPointerCapture(event.pointerId); hold({ i, corners }); },
    onPointerMove: (event) => { if (held?.i === i) hold({ i, corners: moved(i, at(event)) }); },
    onPointerUp: () => { if (held) { set(held.corners); hold(null); } },
    onPointerCancel: () => hold(null),
    onKeyDown: (event) => {
      const by = event.shiftKey ? 1 : KEY_PX;
      const d = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] }[event.key];
      if (!d) return;
      event.preventDefault();
      set(moved(i, [corners[i][0] + d[0], corners[i][1] + d[1]]));
    },
  });
  return (
    <div class="split">
      <div class="photo" ref={frame} style={{ aspectRatio: `${w} / ${h}`, '--ratio': w / h }}>
        <img src={url} alt="The photo of your panel" draggable={false} />
        {corners && (
          <svg viewBox={`0 0 ${w} ${h}`} aria-hidden="true"><polygon points={corners.map((c) => c.join(',')).join(' ')} /></svg>
        )}
        {corners?.map(([x, y], i) => (
          <button
            key={i} type="button" class="grip" aria-label={`Corner ${NAMES[i]}, move it with the arrow keys`}
            style={{ left: `${(x / w) * 100}%`, top: `${(y / h) * 100}%` }} {...grip(i)}
          />
        ))}
        {held && (() => {
          const [x, y] = held.corners[held.i];
          // The glass stands away from the finger.
          const left = x / w > 0.5;
          return (
            <div
              class="glass" aria-hidden="true"
              style={{
                [left ? 'left' : 'right']: '8px', top: '8px', width: `${GLASS_PX}px`, height: `${GLASS_PX}px`,
                backgroundImage: `url(${url})`, backgroundSize: `${size[0] * GLASS}px ${size[1] * GLASS}px`,
                backgroundPosition: `${GLASS_PX / 2 - x * scale * GLASS}px ${GLASS_PX / 2 - y * scale * GLASS}px`,
              }}
            />
          );
        })()}
      </div>
      <div class="side" tabIndex={0} role="group" aria-label="What to do">
        <p>Drag the four corners onto those of your panel. A glass shows the place under your finger.</p>
        {!corners && <p class="hint">Looking for the panel…</p>}
        {found.error && !job.corners && <Trouble error={{ what: found.error.message, next: 'Drag the corners yourself.' }} />}
        {job.corners && <button type="button" onClick={() => table.edit('the corners found', (j) => { delete j.corners; })}>Find them again</button>}
        <h2>The panel, flat</h2>
        {flat.error && !found.error && <Trouble error={{ what: flat.error.message, next: flat.error.next }} />}
        {flat.value && <img class="flat" src={flat.value.url} alt="The panel as it lies flat" />}
      </div>
    </div>
  );
}
