// The small picture of a card for the shelf, drawn from the plan's own curves.
import { colors, UNIT } from './panel.jsx';

/** Its longer side, in pixels. */
const SIDE_PX = 320;

/** Bytes of a PNG. */
export async function thumbnail(view) {
  const { card } = view.plan;
  // Of a card its panel, with the pieces where they are glued.
  const [w, h] = (card?.grounds[0].rect_mm.slice(2) ?? view.plan.size_mm).map((v) => v * UNIT);
  const scale = SIDE_PX / Math.max(w, h);
  const canvas = new OffscreenCanvas(Math.round(w * scale), Math.round(h * scale));
  const context = canvas.getContext('2d');
  const color = colors(view);
  context.scale(scale, scale);
  context.fillStyle = view.plan.job.paper;
  context.fillRect(0, 0, w, h);
  const draw = (sections) => {
    for (const section of sections) {
      context.fillStyle = color.get(section.number);
      context.fill(new Path2D(view.curves.sections[section.id - 1]), 'evenodd');
    }
    context.fillStyle = '#2b2b30';
    context.fill(new Path2D(view.curves.ink), 'evenodd');
  };
  draw(view.plan.sections);
  for (const [i, image] of card?.images.entries() ?? []) {
    if (!image.glued_mm) continue;
    const mine = view.plan.sections.filter((section) => section.image === i);
    const [left, right] = [0, image.width_mm].map((v) => (image.at_mm[0] - image.width_mm / 2 + v) * UNIT);
    // As high as it may be: its sheet.
    const [, top, , high] = card.grounds[image.ground].rect_mm.map((v) => v * UNIT);
    context.save();
    context.translate(image.glued_mm[0] * UNIT, image.glued_mm[1] * UNIT);
    context.rotate((image.turn * Math.PI) / 180);
    context.translate(-image.at_mm[0] * UNIT, -image.at_mm[1] * UNIT);
    context.beginPath();
    context.rect(left, top, right - left, high);
    context.clip();
    draw(mine);
    context.restore();
  }
  const blob = await canvas.convertToBlob({ type: 'image/png' });
  return new Uint8Array(await blob.arrayBuffer());
}
