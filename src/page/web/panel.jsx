// The panel, drawn from the very curves that the sheets are drawn from. It can be moved and brought closer; taps and
// lines drawn on it are told in millimeters.
import { useEffect, useRef, useState } from 'preact/hooks';
import { select } from 'd3-selection';
import { zoom, zoomIdentity } from 'd3-zoom';

/** Hundredths of a millimeter: the unit of every path. */
export const UNIT = 100;
const PT = (25.4 / 72) * UNIT;
/** How far a finger may wander in a tap, in screen pixels; from memory. */
const TAP_PX = 8;

/**
 * `size` in millimeters; `children` are drawn in hundredths of a millimeter. `onTap([x, y], event)` and, while `drawing`,
 * `onLine([[x, y], ...])` get millimeters. A board that holds things to take hold of is a `group`. `papers` are the sheets of card on it, [left, top, width, height]; one if not given.
 * On a drawing that is taller than wide the buttons stand beside it, else below: on it they would hide what is tapped.
 */
export function Board({ size, label, children, onTap, drawing = false, onLine, bare = false, papers, role = 'img' }) {
  const svg = useRef(null);
  const moved = useRef(null);
  const behavior = useRef(null);
  const [line, setLine] = useState(null);
  const [w, h] = size.map((v) => v * UNIT);
  const margin = bare ? 0 : Math.max(w, h) * 0.03;

  useEffect(() => {
    const node = select(svg.current);
    const z = zoom()
      .scaleExtent([1, 14])
      .clickDistance(TAP_PX)
      .extent(() => [[-margin, -margin], [w + margin, h + margin]])
      .translateExtent([[-margin, -margin], [w + margin, h + margin]])
      .filter((event) => !event.button && !svg.current.dataset.drawing && !event.target.closest?.('[data-grip]'))
      .on('zoom', ({ transform }) => moved.current.setAttribute('transform', transform));
    behavior.current = z;
    node.call(z).on('dblclick.zoom', null);
    node.call(z.transform, zoomIdentity);
    return () => node.on('.zoom', null);
  }, [w, h]);

  const at = (event) => {
    const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(moved.current.getScreenCTM().inverse());
    return [p.x / UNIT, p.y / UNIT];
  };
  const inside = ([x, y]) => [Math.min(Math.max(x, 0), size[0]), Math.min(Math.max(y, 0), size[1])];

  const down = (event) => {
    if (!drawing) return;
    event.preventDefault();
    svg.current.setPointerCapture(event.pointerId);
    setLine([inside(at(event))]);
  };
  const move = (event) => {
    if (!line) return;
    const next = inside(at(event));
    const last = line.at(-1);
    // A point every half millimeter is more than a hand can draw.
    if (Math.hypot(next[0] - last[0], next[1] - last[1]) > 0.5) setLine([...line, next]);
  };
  const up = () => {
    if (!line) return;
    if (line.length > 1) onLine(line.map((p) => p.map((v) => Math.round(v * 100) / 100)));
    setLine(null);
  };
  const by = (factor) => select(svg.current).call(behavior.current.scaleBy, factor);

  return (
    <div class={h > w ? 'board tall' : 'board'}>
      <svg
        ref={svg}
        viewBox={`${-margin} ${-margin} ${w + 2 * margin} ${h + 2 * margin}`}
        role={role}
        aria-label={label}
        data-drawing={drawing || undefined}
        class={drawing ? 'drawing' : ''}
        onClick={(event) => { if (!drawing) onTap?.(at(event), event); }}
        onPointerDown={down}
        onPointerMove={move}
        onPointerUp={up}
        onPointerCancel={() => setLine(null)}
      >
        <g ref={moved}>
          {/* A filter for the shadow would hide pictures that come later, in Chromium. */}
          {(papers ?? [[0, 0, ...size]]).map((rect, i) => {
            const [left, top, width, height] = rect.map((v) => v * UNIT);
            return <g key={i}><rect class="under" x={left + 40} y={top + 90} width={width} height={height} /><rect class="paper" x={left} y={top} width={width} height={height} /></g>;
          })}
          {children}
          {line && <polyline class="hand" points={line.map(([x, y]) => `${x * UNIT},${y * UNIT}`).join(' ')} />}
        </g>
      </svg>
      <div class="zoom" role="group" aria-label="Closer and farther">
        <button type="button" aria-label="Closer" onClick={() => by(1.6)}>+</button>
        <button type="button" aria-label="Farther" onClick={() => by(1 / 1.6)}>&minus;</button>
        <button type="button" class="whole" onClick={() => select(svg.current).call(behavior.current.transform, zoomIdentity)}>Whole</button>
      </div>
    </div>
  );
}

/** Where a pointer is, in millimeters of the drawing that an element is drawn in, and inside `size`. */
export function pointed(event, element, size) {
  const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(element.getScreenCTM().inverse());
  return [p.x, p.y].map((v, k) => Math.min(Math.max(v / UNIT, 0), size[k]));
}

/** Arrow keys, as a way on the board. */
export const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/**
 * Numbered pins at `points`, in millimeters; they can be dragged, and moved with the arrow keys by `by`. `half` is one more
 * that waits for something. (An SVG's attributes keep their case, and Preact's `tabIndex` its own: here it is `tabindex`.)
 */
export function Pins({ points, half, size, by, radius, onMove, onRemove }) {
  const [held, hold] = useState(null);
  const all = points.map((at, i) => ({ n: i + 1, at: held?.i === i ? held.at : at, i }));
  if (half) all.push({ n: points.length + 1, at: half, i: -1 });
  return all.map(({ n, at, i }) => (
    <g
      key={n} class={i < 0 ? 'pin half' : 'pin'} data-grip transform={`translate(${at[0] * UNIT} ${at[1] * UNIT})`}
      tabindex={i < 0 ? -1 : 0} role="button" aria-label={`Place ${n}; move it with the arrow keys, remove it with Delete`}
      onClick={(event) => event.stopPropagation()}
      onPointerDown={(event) => { if (i >= 0) { event.stopPropagation(); event.currentTarget.setPointerCapture(event.pointerId); hold({ i, at }); } }}
      onPointerMove={(event) => { if (held?.i === i && i >= 0) hold({ i, at: pointed(event, event.currentTarget.parentNode, size), moved: true }); }}
      onPointerUp={() => { if (held?.moved) onMove(held.i, held.at); hold(null); }}
      onPointerCancel={() => hold(null)}
      onKeyDown={(event) => {
        const way = ARROWS[event.key];
        if (way) onMove(i, at.map((v, k) => v + way[k] * by));
        else if (event.key === 'Delete' || event.key === 'Backspace') onRemove(i);
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

/** The sheets of card that a plan is for: its own size if it has no stamps. */
export const papersOf = (view) => view.plan.card?.grounds.map((ground) => ground.rect_mm);

const context = new OffscreenCanvas(1, 1).getContext('2d');
/** Whether a point, in millimeters, lies in a cell of the drawing. */
export const holds = (cell, [x, y]) => context.isPointInPath(new Path2D(cell.path), x * UNIT, y * UNIT, 'evenodd');

/** The color of every number, and of bare paper. */
export function colors(view) {
  const map = new Map(view.plan.numbers.map((n) => [n.number, n.color]));
  map.set(0, view.plan.job.paper);
  return map;
}

/** Every section in its color and the ink: the finished panel. `pick` marks a section. */
export function Finished({ view, opacity = 1, fills }) {
  const color = colors(view);
  return (
    <g style={{ opacity }}>
      {view.plan.sections.map((s) => {
        const fill = fills?.(s) ?? color.get(s.number);
        return <path key={s.id} class="section" data-section={s.id} d={view.curves.sections[s.id - 1]} fill={fill} stroke={fill} />;
      })}
    </g>
  );
}

export const Ink = ({ view }) => <path class="ink" d={view.curves.ink} />;

/** The lines to trace, with the numbers. */
export function Lines({ view, numbers = true }) {
  return (
    <g class="lines">
      {view.curves.borders.filter((b) => b.traced).map((b, i) => <path key={i} class={`trace ${b.origin}`} d={b.path} />)}
      {numbers && view.labels.map((l) => (
        <g key={l.sections.join()} class="label">
          {l.leaders.map(([x, y], i) => <line key={i} x1={l.at[0] * UNIT} y1={l.at[1] * UNIT} x2={x * UNIT} y2={y * UNIT} />)}
          <text x={l.at[0] * UNIT} y={l.at[1] * UNIT} font-size={l.size_pt * PT}>{l.text}</text>
        </g>
      ))}
    </g>
  );
}

/** Sections without a fill, to be tapped. */
export function Touchable({ view }) {
  return (
    <g>
      {view.plan.sections.map((s) => <path key={s.id} class="touch" data-section={s.id} d={view.curves.sections[s.id - 1]} />)}
    </g>
  );
}

/** The section under a tap. */
export const sectionOf = (event) => {
  const found = event.target.closest?.('[data-section]');
  return found ? Number(found.dataset.section) : null;
};

/** A picture for an <img> or <image>: { url, width, height, fullWidth, fullHeight }. */
export async function shown({ width, height, fullWidth, fullHeight, pixels }, type = 'image/png') {
  const canvas = new OffscreenCanvas(width, height);
  canvas.getContext('2d').putImageData(new ImageData(new Uint8ClampedArray(pixels.buffer), width, height), 0, 0);
  const blob = await canvas.convertToBlob({ type, quality: 0.9 });
  return { url: URL.createObjectURL(blob), width, height, fullWidth, fullHeight };
}
