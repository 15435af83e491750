// Drives the guide of a card of stamps and pieces in headless Chromium: stamping and masking, the turns, cutting and gluing.
// usage: node card.mjs GUIDE.html PLAN.json CHROMIUM [PICTURES]
// Prints one line per fact; exits with 1 and says which failed.
import { readFileSync, mkdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';
import { resolve } from 'node:path';
import { chromium } from 'playwright-core';

const [guide, planFile, executablePath, pictures] = process.argv.slice(2);
const plan = JSON.parse(readFileSync(planFile, 'utf8'));
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
if (pictures) mkdirSync(pictures, { recursive: true });
let failed = 0;
const fact = (what, holds, found = '') => {
  console.log(`${holds ? 'ok  ' : 'FAIL'} ${what}${found !== '' ? ': ' + found : ''}`);
  if (!holds) failed += 1;
};
const same = (a, b) => JSON.stringify(a) === JSON.stringify([...b].sort((x, y) => x - y));

const browser = await chromium.launch({ executablePath, args: ['--no-sandbox', '--disable-gpu'] });
// A small phone.
const page = await browser.newPage({ viewport: { width: 375, height: 553 }, hasTouch: true });
const errors = [];
page.on('pageerror', (e) => errors.push(String(e)));
await page.clock.install({ time: new Date('2026-01-01T10:00:00') });
await page.goto(pathToFileURL(resolve(guide)).href);
const text = (id) => page.locator('#' + id).innerText();
const numbers = (which) => page.locator(which).evaluateAll((all) => all.map((p) => Number(p.dataset.k)).sort((a, b) => a - b));
const snap = (name) => pictures && page.screenshot({ path: `${pictures}/card-${name}.png` });
const accessible = async (when) => {
  await page.evaluate(axe);
  const found = await page.evaluate(() => window.axe.run());
  fact(`accessible ${when}`, found.violations.length === 0, found.violations.map((v) => v.id).join(', '));
};

// Stamping: all steps but the last rest, which is the guide's own.
const steps = plan.card.stamping.slice(0, plan.schedule.stamp_rest_s > 0 ? -1 : undefined);
const masked = new Set();
for (const [k, step] of steps.entries()) {
  if ((await text('pen')) !== step.say) fact(`step ${k + 1} is told`, false, await text('pen'));
  if (!same(await numbers('.image.on'), step.images ?? [])) fact(`step ${k + 1} shows what it is about`, false);
  if (!same(await numbers('.image.masked'), masked)) fact(`step ${k + 1} shows the masks`, false);
  if (await page.locator('path.s.now').count()) fact(`step ${k + 1} lights no sections`, false);
  if (step.rest_s) {
    fact('a rest before a mask is timed', await page.locator('#wait').isVisible(), await text('wait'));
    await page.clock.runFor(step.rest_s * 1000 + 1000);
    fact('and ends', await page.locator('#wait').isHidden());
  }
  if (step.does === 'lay_mask') masked.add(step.images[0]);
  if (step.does === 'lift_mask') masked.delete(step.images[0]);
  if (k === 2) {
    await snap('stamping');
    await accessible('while stamping');
    await page.reload();
    fact('progress is kept', (await text('pen')) === step.say);
  }
  await page.click('#done');
}
fact('every step of stamping was walked through', (await text('head')).startsWith('Turn 1 of'), `${steps.length} steps`);
fact('and no stamp stands out any more', (await page.locator('svg.stamping').count()) === 0);

// The turns.
for (let k = 0; k < 3 * plan.schedule.turns.length && (await text('head')).startsWith('Turn'); k += 1) {
  await page.click('#done');
  await page.clock.runFor(Math.max(plan.schedule.rest_s, plan.schedule.stamp_rest_s) * 1000 + 1000);
}

// Cutting and gluing: a piece lies on the panel as soon as it is glued there.
const glued = new Set();
for (const step of plan.card.finishing) {
  if ((await text('pen')) !== step.say) fact('what is cut or glued is told', false, await text('pen'));
  await page.click('#done');
  if (step.does === 'glue') step.images.forEach((k) => glued.add(k));
  if (!same(await numbers('g.piece[transform]'), glued)) fact('what is glued lies on the panel', false);
}
fact('the card is finished', (await text('pen')) === 'The card is finished', `${glued.size} pieces glued on`);
const [left, top, width, height] = plan.card.grounds[0].rect_mm.map((v) => v * 100);
const beside = await page.locator('g.piece[transform]').evaluateAll((all, [l, t, w, h]) => all.filter((g) => {
  const b = g.getBBox(), m = g.transform.baseVal.consolidate().matrix;
  const at = new DOMPoint(b.x + b.width / 2, b.y + b.height / 2).matrixTransform(m);
  return at.x < l || at.y < t || at.x > l + w || at.y > t + h;
}).length, [left, top, width, height]);
fact('its pieces lie on the panel', beside === 0);
await snap('finished');
await accessible('when finished');
await page.click('#undo');
fact('undo takes the last piece off again', !glued.size || (await numbers('g.piece[transform]')).length === glued.size - 1);
fact('no error on the console', errors.length === 0, errors.join('; '));
await browser.close();
if (failed) {
  console.log(`${failed} facts do not hold`);
  process.exit(1);
}
