// Drives guide.html in headless Chromium, from disk, with playwright-core, and checks it with axe-core.
// usage: node check.mjs GUIDE.html PLAN.json CHROMIUM [PICTURES]
// Prints one line per fact; exits with 1 and says which failed.
import { readFileSync, mkdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';
import { resolve } from 'node:path';
import { chromium } from 'playwright-core';

const [guide, planFile, executablePath, pictures] = process.argv.slice(2);
const url = pathToFileURL(resolve(guide)).href;
const plan = JSON.parse(readFileSync(planFile, 'utf8'));
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
if (pictures) mkdirSync(pictures, { recursive: true });

let failed = 0;
const fact = (what, holds, found = '') => {
  console.log(`${holds ? 'ok  ' : 'FAIL'} ${what}${found !== '' ? ': ' + found : ''}`);
  if (!holds) failed += 1;
};

const browser = await chromium.launch({ executablePath, args: ['--no-sandbox', '--disable-gpu'] });
const errors = [];
const requests = [];
const open = async (options = {}) => {
  const context = await browser.newContext({ viewport: { width: 390, height: 844 }, hasTouch: true, ...options });
  const page = await context.newPage();
  page.on('pageerror', (e) => errors.push(String(e)));
  page.on('console', (m) => m.type() === 'error' && errors.push(m.text()));
  page.on('request', (r) => r.url() !== url && requests.push(r.url()));
  page.on('dialog', (d) => d.accept());
  return page;
};
const text = (page, id) => page.locator('#' + id).innerText();
const classes = (page, name) => page.locator(`path.s.${name}`).evaluateAll((all) => all.map((p) => Number(p.dataset.id)).sort((a, b) => a - b));
const same = (a, b) => JSON.stringify(a) === JSON.stringify([...b].sort((x, y) => x - y));
const snap = (page, name) => pictures && page.screenshot({ path: `${pictures}/${name}.png` });

// ---- through every turn, with a clock of our own
{
  const page = await open();
  await page.clock.install({ time: new Date('2026-01-01T10:00:00') });
  await page.goto(url);
  await snap(page, 'phone-start');
  const turns = plan.schedule.turns;
  if (plan.schedule.stamp_rest_s > 0) {
    fact('it begins with the rest of the stamped ink', (await text(page, 'done')).includes('stamped'));
    await page.click('#done');
    fact('the stamp timer runs', /\d+:\d\d until the stamped ink/.test(await text(page, 'wait')), await text(page, 'wait'));
    fact('nothing is called dry meanwhile', (await text(page, 'before')).includes('the stamped ink'), await text(page, 'before'));
    await page.clock.runFor(plan.schedule.stamp_rest_s * 1000 + 1000);
    fact('and ends', await page.locator('#wait').isHidden());
  }
  let doneSections = [];
  let waited = 0, meanwhile = 0;
  for (let k = 0; k < turns.length; k += 1) {
    const pen = plan.numbers.find((n) => n.number === turns[k].number).pen.name;
    if ((await text(page, 'pen')) !== pen) fact(`turn ${k + 1} shows its pen`, false, await text(page, 'pen'));
    if (!same(await classes(page, 'now'), turns[k].sections)) fact(`turn ${k + 1} lights its sections`, false);
    const under = doneSections.filter((id) => !turns[k].sections.includes(id));
    if (!same(await classes(page, 'done'), under)) fact(`turn ${k + 1} shows what is done`, false);
    if (await page.locator('#wait').isVisible()) {
      waited += 1;
      const before = await text(page, 'wait');
      await page.clock.runFor(3000);
      fact('the rest timer counts down', (await page.locator('#wait').isHidden()) || before !== (await text(page, 'wait')), before);
      if (await page.locator('#meanwhile').isVisible()) meanwhile += 1;
      if (waited === 1) await snap(page, 'phone-waiting');
      await page.clock.runFor(plan.schedule.rest_s * 1000 + 1000);
      fact('and the turn is free when it has run out', await page.locator('#wait').isHidden());
    }
    if (k === Math.floor(turns.length / 2)) {
      await snap(page, 'phone-middle');
      // Undo, and again.
      await page.click('#undo');
      fact('undo takes the last turn back', same(await classes(page, 'now'), turns[k - 1].sections));
      await page.click('#done');
      if (await page.locator('#wait').isVisible()) await page.click('#done');
      await page.reload();
      // Under load a browser hands what is kept to the process of the next page after that has begun.
      const isAt = async (where, turn) => {
        const heard = async () => (await text(where, 'head')).includes(`Turn ${turn} of`);
        for (let tries = 0; tries < 50 && !(await heard()); tries += 1) await new Promise((done) => { setTimeout(done, 100); });
        return heard();
      };
      fact('progress is kept when the page is loaded again', await isAt(page, k + 1), await text(page, 'head'));
      const twin = await page.context().newPage();
      await twin.goto(url);
      fact('another tab goes on from there', await isAt(twin, k + 1), await text(twin, 'head'));
      await twin.click('#undo');
      fact('and what is done in it shows here', await isAt(page, k), await text(page, 'head'));
      await twin.click('#done');
      if (await twin.locator('#wait').isVisible()) await twin.click('#done');
      fact('to and fro', await isAt(page, k + 1), await text(page, 'head'));
      await twin.close();
      if (await page.locator('#wait').isVisible()) await page.clock.runFor(plan.schedule.rest_s * 1000 + 1000);
    }
    await page.clock.runFor(turns[k].work_s * 1000);
    await page.click('#done');
    doneSections = [...new Set(doneSections.concat(turns[k].sections))];
  }
  fact('every turn was walked through', (await text(page, 'head')) === 'Finished', `${turns.length} turns, ${waited} waits`);
  // It ends with the finished picture: everything in the full color of its number.
  fact('all is done', same(await classes(page, 'full'), doneSections) && (await classes(page, 'done')).length === 0);
  const colors = await page.locator('path.s.full').evaluateAll((all) => all.map((p) => [Number(p.dataset.id), getComputedStyle(p).fill, getComputedStyle(p).fillOpacity]));
  const rgb = (hex) => `rgb(${[1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16)).join(', ')})`;
  const wrong = colors.filter(([id, fill, opacity]) => opacity !== '1' || fill !== rgb(plan.numbers.find((n) => n.number === plan.sections.find((s) => s.id === id).number).color));
  fact('in full color', wrong.length === 0, wrong.slice(0, 3).join(' | '));
  fact('what was colored can be handed over', await page.locator('#code').isVisible() && await page.locator('#save').isVisible());
  console.log('code ' + (await text(page, 'code')));
  await snap(page, 'phone-finished');
  await page.locator('#again').scrollIntoViewIfNeeded();
  await page.click('#again');
  fact('it can start over', (await text(page, 'head')).startsWith('Turn 1 of'));
  fact('and then there is nothing to hand over', await page.locator('#code').isHidden());
  await page.context().close();
}

// ---- by the clock of the plan: what is wet beside a turn is told, and no wait of a few seconds
{
  const SHORT_S = 10; // long enough to cap a pen and take the next one; from memory
  const page = await open();
  await page.clock.install({ time: new Date('2026-01-01T10:00:00') });
  await page.goto(url);
  if (plan.schedule.stamp_rest_s > 0) await page.click('#undo');
  const { turns, rest_s } = plan.schedule;
  const markOf = (n) => { const p = plan.numbers.find((e) => e.number === n); return p.finished === 0 ? `\u25d0 ${p.pen.name}` : String(n); };
  const plain = (words) => words.replace(/[\u2068\u2069]/g, '');
  const count = { wet: 0, dry: 0, short: 0, long: 0 };
  const wrong = [];
  for (let k = 0; k < turns.length; k += 1) {
    const end = k === 0 ? 0 : turns[k - 1].start_s + turns[k - 1].work_s;
    const wait = turns[k].start_s - end;
    const shown = await page.locator('#wait').isVisible();
    if (shown !== wait >= SHORT_S) wrong.push(`turn ${k + 1} waits ${wait} s, ${shown ? 'told' : 'not told'}`);
    if (wait > 0) count[wait < SHORT_S ? 'short' : 'long'] += 1;
    // Clicks and ticks take a little time of their own: half a minute to either side nothing is asked.
    await page.clock.runFor(wait * 1000);
    if (await page.locator('#wait').isVisible()) await page.clock.runFor(1000);
    const wetTurns = turns[k].beside.filter((j) => turns[j].start_s + turns[j].work_s + rest_s > turns[k].start_s + 30);
    const wet = [...new Set(wetTurns.map((j) => turns[j].number))].sort((a, b) => a - b).map(markOf).join(', ');
    const told = plain(await text(page, 'before'));
    const first = turns[k].after.length > 0 || (k === 0 && told.includes('stamped'));
    if (wet && !told.includes('Still wet across a drawn line: ')) wrong.push(`turn ${k + 1}: ${told}`);
    if (wet) for (const mark of wet.split(', ')) if (!told.split('line: ')[1]?.includes(mark)) wrong.push(`turn ${k + 1}, ${mark}: ${told}`);
    if (told.includes('Touches nothing that is wet') && (wet || turns[k].after.length > 0)) wrong.push(`turn ${k + 1} touches: ${told}`);
    if (!wet && !first && turns[k].beside.length === 0 && !told.startsWith('Touches nothing')) wrong.push(`turn ${k + 1} touches nothing: ${told}`);
    count[wet ? 'wet' : 'dry'] += 1;
    await page.clock.runFor(turns[k].work_s * 1000);
    await page.click('#done');
    if (k === 3) await snap(page, 'phone-wet-across');
  }
  fact('by the clock of the plan every turn tells what is wet, and no wait of a few seconds', wrong.length === 0, wrong.join(' | ') || JSON.stringify(count));
  // What is dry is not called wet: from the last turn but one, after a night.
  await page.click('#undo');
  const last = turns.length - 1;
  await page.clock.runFor(rest_s * 1000 + 1000);
  fact('what has dried is not called wet', !(await text(page, 'before')).includes('wet across'), await text(page, 'before'));
  fact('the last turn is there again', (await text(page, 'head')).includes(`Turn ${last + 1} of`));
  await page.context().close();
}

// ---- a wait offers what may be colored meanwhile: skip ahead out of order
{
  const page = await open();
  await page.clock.install({ time: new Date('2026-01-01T10:00:00') });
  await page.goto(url);
  if (plan.schedule.stamp_rest_s > 0) await page.click('#undo');
  const turns = plan.schedule.turns;
  let offered = false;
  for (let k = 0; k < turns.length && !offered; k += 1) {
    // No time passes: nothing dries.
    if (await page.locator('#wait').isVisible()) {
      offered = (await page.locator('#meanwhile button').count()) > 0;
      if (offered) {
        await snap(page, 'phone-meanwhile');
        const label = await page.locator('#meanwhile button').first().innerText();
        const waiting = await text(page, 'pen');
        await page.locator('#meanwhile button').first().click();
        fact('meanwhile another turn can be colored', (await text(page, 'pen')) !== waiting, label);
        break;
      }
      await page.click('#done');
    }
    await page.click('#done');
  }
  // Where all that touches nothing comes before the first wait, there is nothing left to offer.
  const left = turns.some(
    (t, k) => t.after.length > 0 && turns.slice(k + 1).some((u) => u.after.length === 0)
  );
  fact('a wait offers what is free, if anything is', offered || !left, `${turns.length} turns`);
  await page.context().close();
}

// ---- on a small phone the wait is in sight, whatever the page shows
{
  const page = await open({ viewport: { width: 375, height: 553 } });
  await page.clock.install({ time: new Date('2026-01-01T10:00:00') });
  await page.goto(url);
  await page.click('#done');
  for (let k = 0; k < plan.schedule.turns.length && !(await page.locator('#wait').isVisible()); k += 1) await page.click('#done');
  if (await page.locator('#wait').isVisible()) {
    const seen = async () => {
      const [wait, view] = [await page.locator('#wait').boundingBox(), await page.locator('.view').boundingBox()];
      return wait.y > view.y + view.height && wait.y + wait.height <= 553;
    };
    await snap(page, 'small-waiting');
    const top = await seen();
    await page.locator('#again').scrollIntoViewIfNeeded();
    fact('the wait stays in sight at 375 x 553', top && (await seen()));
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    fact('nothing is wider than the small phone', wide <= 375, wide);
  }
  await page.context().close();
}

// ---- tapping, pens, zoom, keyboard
{
  const page = await open();
  await page.goto(url);
  const labelOf = (section) => page.locator(`path.s[data-id="${section.id}"]`).evaluate((p, [x, y]) => {
    const m = p.getScreenCTM();
    return [m.a * x * 100 + m.e, m.d * y * 100 + m.f];
  }, section.label_mm);
  // The largest section that no button of the map lies on.
  let section;
  let at;
  for (section of [...plan.sections].sort((a, b) => b.area_mm2 - a.area_mm2)) {
    at = await labelOf(section);
    if (await page.evaluate(([x, y]) => !document.elementFromPoint(x, y)?.closest('button'), at)) break;
  }
  await page.touchscreen.tap(...at);
  const said = await text(page, 'said');
  fact('a tapped section tells its number and pen', section.number === 0 ? said.includes('bare') : said.includes(`Number ${section.number} `) && said.includes(section.pen), said);
  for (const size of [{ width: 375, height: 553 }, { width: 390, height: 844 }, { width: 1280, height: 800 }]) {
    await page.setViewportSize(size);
    const [panel, zoom] = [await page.locator('#panel').boundingBox(), await page.locator('.zoom').boundingBox()];
    fact(`no button lies on the panel at ${size.width} x ${size.height}`, zoom.x >= panel.x + panel.width && zoom.y + zoom.height <= size.height);
  }
  await page.setViewportSize({ width: 390, height: 844 });
  const place = await text(page, 'place');
  for (const n of plan.numbers) {
    await page.locator(`#list button[data-number="${n.number}"]`).click();
    const mine = plan.sections.filter((s) => s.number === n.number || (n.under ?? []).includes(s.number)).map((s) => s.id);
    if (!same(await classes(page, 'now'), mine)) fact(`pen ${n.number} lights its sections`, false);
    if ((await text(page, 'place')) !== place) fact(`pen ${n.number} leaves the sections of this turn as they are`, false);
  }
  fact('every pen lights its sections', true, `${plan.numbers.length} pens`);
  const marks = await page.locator('#list b').allInnerTexts();
  const shown = plan.numbers.map((n) => (n.number === 0 ? '\u25cb' : n.finished === 0 ? '\u25d0' : String(n.number)));
  fact('the list is in the order of the key', JSON.stringify(marks) === JSON.stringify(shown), marks.join());
  const told = await page.locator('#list').innerText();
  const bands = plan.numbers.flatMap((n) => n.bands.map((b) => plan.bands[b].name));
  fact('every band is named', bands.every((b) => told.includes(b)), bands.join(', '));
  const width = () => page.locator('#panel').evaluate((s) => Number(s.getAttribute('viewBox').split(' ')[2]));
  const whole = await width();
  await page.click('#closer');
  await page.click('#closer');
  fact('buttons zoom in', (await width()) < whole * 0.5);
  await page.click('#whole');
  fact('and out', (await width()) === whole);
  // Two fingers drawn apart.
  const client = await page.context().newCDPSession(page);
  const box = await page.locator('#panel').boundingBox();
  const [cx, cy] = [box.x + box.width / 2, box.y + box.height / 2];
  const touch = (type, d) => client.send('Input.dispatchTouchEvent', { type, touchPoints: type === 'touchEnd' ? [] : [{ x: cx - d, y: cy, id: 0 }, { x: cx + d, y: cy, id: 1 }] });
  await touch('touchStart', 30);
  for (let d = 35; d <= 90; d += 5) await touch('touchMove', d);
  await touch('touchEnd', 90);
  fact('two fingers zoom', (await width()) < whole * 0.6, `${(whole / (await width())).toFixed(1)} times`);
  await page.click('#whole');

  // Keyboard alone: tab to the section buttons, step, press.
  await page.keyboard.press('Tab');
  let reached = '';
  for (let i = 0; i < 40 && reached !== 'next'; i += 1) {
    await page.keyboard.press('Tab');
    reached = await page.evaluate(() => document.activeElement.id);
  }
  await page.keyboard.press('Enter');
  fact('sections are reached with the keyboard', reached === 'next' && (await page.locator('path.s.chosen').count()) === 1, await text(page, 'said'));

  const small = await page.locator('button').evaluateAll((all) => all.filter((b) => b.offsetParent && (b.getBoundingClientRect().width < 44 || b.getBoundingClientRect().height < 44)).map((b) => b.id || b.textContent));
  fact('tap targets measure at least 44 px', small.length === 0, small.join());
  const wide = await page.evaluate(() => document.documentElement.scrollWidth);
  fact('nothing is wider than the phone', wide <= 390, wide);
  const bar = await page.locator('#done').boundingBox();
  fact('the main button is in reach of a thumb', bar.y > 844 * 0.5 && bar.y + bar.height <= 844, `${Math.round(bar.y)} px from the top`);
  await page.context().close();
}

// ---- light and dark, phone and desk: accessibility
for (const colorScheme of ['light', 'dark']) {
  for (const viewport of [{ width: 390, height: 844 }, { width: 1280, height: 800 }]) {
    const page = await open({ colorScheme, viewport });
    await page.goto(url);
    if (plan.schedule.stamp_rest_s > 0) await page.click('#undo');
    await page.evaluate(axe);
    const result = await page.evaluate(() => axe.run());
    const found = result.violations.map((v) => `${v.id} (${v.nodes.map((n) => n.target).join(' ')})`);
    fact(`axe-core finds nothing, ${colorScheme}, ${viewport.width} x ${viewport.height}`, found.length === 0, found.join('; '));
    await snap(page, `${colorScheme}-${viewport.width}`);
    await page.context().close();
  }
}

// ---- names as they are
{
  const page = await open();
  await page.goto(url);
  const shown = await page.locator('#list bdi').allInnerTexts();
  const names = plan.numbers.map((n) => n.pen?.name ?? 'leave the paper bare');
  const clean = (s) => s.replace(/\s+/g, ' ').trim();
  fact('pens carry their names as written', JSON.stringify(shown.map(clean)) === JSON.stringify(names.map(clean)), shown.slice(0, 3).join(' | '));
  fact('and a name runs nothing', (await page.evaluate(() => window.ran)) === undefined && (await page.locator('#list img, #list script, #list b b').count()) === 0);
  await page.context().close();
}

// ---- without local storage
{
  const page = await open();
  await page.addInitScript(() => {
    Object.defineProperty(window, 'localStorage', { get() { throw new Error('blocked'); } });
  });
  await page.goto(url);
  fact('without storage it says so', (await text(page, 'storage')).includes('leave the page open'));
  await page.click('#done');
  fact('and still works', (await page.locator('#undo').isEnabled()));
  await page.context().close();
}

// ---- the first picture waits for nothing: it is there before, and without, the guide's script
{
  const page = await open({ javaScriptEnabled: false });
  await page.goto(url);
  const panel = page.locator('svg#panel');
  const box = await panel.boundingBox();
  fact('the panel is there without a script', box !== null && box.width > 300 && box.height > 100 && (await panel.locator('path').count()) > plan.sections.length);
  await page.context().close();
}

// ---- how long it takes on a slow phone: a measurement, no fact, as it is the machine's
{
  const page = await open();
  const client = await page.context().newCDPSession(page);
  await client.send('Emulation.setCPUThrottlingRate', { rate: 4 });
  await page.goto(url);
  await page.waitForFunction(() => performance.getEntriesByName('first-contentful-paint').length > 0);
  const paint = await page.evaluate(() => performance.getEntriesByName('first-contentful-paint')[0].startTime);
  console.log(`     first contentful paint with the processor slowed 4 times: ${Math.round(paint)} ms`);
  await page.context().close();
}

fact('no error on the console', errors.length === 0, errors.join('; '));
fact('nothing was asked of a network', requests.length === 0, requests.join('; '));
await browser.close();
if (failed) {
  console.log(`${failed} facts do not hold`);
  process.exit(1);
}
