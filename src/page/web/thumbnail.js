// The small picture of a card for the shelf, drawn from the plan's own curves.
import { colors, UNIT } from './panel.jsx';

/** Its longer side, in pixels. */
const SIDE_PX = 320;

/** Bytes of a PNG. */
export async function thumbnail(view) {
  const [w, h] = view.plan.size_mm.map((v) => v * UNIT);
  const scale = SIDE_PX / Math.max(w, h);
  const canvas = new OffscreenCanvas(Math.round(w * scale), Math.round(h * scale));
  const context = canvas.getContext('2d');
  const color = colors(view);
  context.scale(scale, scale);
  context.fillStyle = view.plan.job.paper;
  context.fillRect(0, 0, w, h);
  for (const section of view.plan.sections) {
    context.fillStyle = color.get(section.number);
    context.fill(new Path2D(view.curves.sections[section.id - 1]), 'evenodd');
  }
  context.fillStyle = '#2b2b30';
  context.fill(new Path2D(view.curves.ink), 'evenodd');
  const blob = await canvas.convertToBlob({ type: 'image/png' });
  return new Uint8Array(await blob.arrayBuffer());
}
