// The page's times and memory, in headless Chromium, from disk.
// usage: node benches/page.mjs [PAGE.html]     (after `cargo page` and `npm ci --prefix tests/guide`)
// Prints one line a figure, with the aim beside it.
import { execFileSync } from 'node:child_process';
import { readFileSync, statSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';

const repository = dirname(dirname(fileURLToPath(import.meta.url)));
const pageFile = resolve(process.argv[2] ?? join(repository, 'target/page/penstrata.html'));
const { chromium } = createRequire(join(repository, 'tests/guide/package.json'))('playwright-core');
/** Runs of every figure; the median counts. */
const RUNS = 5;
/** Edits after which memory is looked at. */
const EDITS = 100;
/** Columns and rows of a photo of 12 megapixels. */
const PHOTO_PX = [4000, 3000];

const tell = (what, figure, aim) => console.log(`${what.padEnd(44)} ${String(figure).padStart(10)}   (aim ${aim})`);
const median = (all) => all.sort((a, b) => a - b)[Math.floor(all.length / 2)];
const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu', '--disable-background-networking'] });
const open = async (slower = 1) => {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 }, acceptDownloads: true });
  const page = await context.newPage();
  page.setDefaultTimeout(120_000);
  if (slower > 1) await (await context.newCDPSession(page)).send('Emulation.setCPUThrottlingRate', { rate: slower });
  await page.goto(pathToFileURL(pageFile).href);
  return page;
};
const quiet = (page) => page.waitForFunction(() => !document.documentElement.hasAttribute('data-working'));
const timed = async (act) => { const start = performance.now(); await act(); return Math.round(performance.now() - start); };
const step = (page, name) => page.evaluate((n) => [...document.querySelectorAll('.ruler button')].find((b) => b.textContent.includes(n)).click(), name);
const example = async (page) => { await page.click('text=Open the example'); await page.waitForSelector('.section'); };

tell('file, MB', (statSync(pageFile).size / 1e6).toFixed(2), '6');

{
  const all = [];
  for (let i = 0; i < RUNS; i += 1) {
    const page = await open(4);
    await page.waitForSelector('.starts');
    all.push(await page.evaluate(() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime));
    await page.context().close();
  }
  tell('first paint, processor slowed four times, ms', Math.round(median(all)), '1000');
}

{
  const [plans, folders] = [[], []];
  for (let i = 0; i < RUNS; i += 1) {
    const page = await open();
    await page.waitForSelector('.starts');
    // A person reads before pressing; the module loads meanwhile.
    await page.waitForTimeout(2000);
    plans.push(await timed(() => example(page)));
    await quiet(page);
    await step(page, 'Color it');
    await page.waitForSelector('.lay-out li');
    folders.push(await timed(async () => { await Promise.all([page.waitForEvent('download'), page.click('text=Save the card')]); }));
    await page.context().close();
  }
  tell('demo to the plan on screen, ms', median(plans), '1500');
  tell('demo to the ZIP, both together, ms', median(plans) + median(folders), '3000');
}

{
  const page = await open();
  const [photo, drawing] = await page.evaluate(async ([reference, outline, [width, height]]) => {
    const drawn = async (data, type, into) => {
      const image = new Image();
      image.src = URL.createObjectURL(new Blob([new Uint8Array(data)], { type }));
      await image.decode();
      const canvas = new OffscreenCanvas(width, height);
      const context = canvas.getContext('2d');
      context.fillStyle = '#fff';
      context.fillRect(0, 0, width, height);
      context.drawImage(image, 0, 0, width, height);
      return [...new Uint8Array(await (await canvas.convertToBlob({ type: into, quality: 0.9 })).arrayBuffer())];
    };
    return [await drawn(reference, 'image/jpeg', 'image/jpeg'), await drawn(outline, 'image/svg+xml', 'image/png')];
  }, [[...readFileSync(join(repository, 'demo/reference.jpg'))], [...readFileSync(join(repository, 'demo/outline.svg'))], PHOTO_PX]);
  await page.click('text=Begin a card');
  const put = (label, name, mimeType, buffer) => page.setInputFiles(`[aria-label=${label}] input >> nth=0`, { name, mimeType, buffer });
  await put('Drawing', 'drawing.png', 'image/png', Buffer.from(drawing));
  await page.waitForSelector('[aria-label=Drawing] img');
  await page.locator('.field input').first().fill('110');
  await page.locator('.field input').first().blur();
  await put('Pens', 'pens.csv', 'text/csv', readFileSync(join(repository, 'demo/pens.csv')));
  const ms = await timed(async () => { await put('Photo', 'photo.jpg', 'image/jpeg', Buffer.from(photo)); await page.waitForSelector('[data-working]', { state: 'attached' }); await quiet(page); });
  tell('12 + 12 megapixels to the plan, ms', ms, '3000');
  await page.context().close();
}

{
  const page = await open();
  await example(page);
  await quiet(page);
  const renderer = () => Math.max(...execFileSync('ps', ['-eo', 'rss,args']).toString().split('\n').filter((l) => l.includes('--type=renderer')).map((l) => parseInt(l, 10))) / 1024;
  const slide = (name, to) => page.locator(`.slider:has-text("${name}") input`).first().evaluate((input, value) => {
    input.value = value;
    for (const kind of ['input', 'change']) input.dispatchEvent(new Event(kind, { bubbles: true }));
  }, to);
  const undo = async () => { await page.click('button[aria-label^="Undo"]'); await quiet(page); };
  const largest = await page.evaluate(() => [...document.querySelectorAll('.board .section')]
    .sort((a, b) => b.getBBox().width * b.getBBox().height - a.getBBox().width * a.getBBox().height).map((p) => Number(p.dataset.section)));
  const pick = async (text) => {
    for (const id of largest) {
      await page.evaluate((n) => document.querySelector(`.board [data-section="${n}"]`).dispatchEvent(new MouseEvent('click', { bubbles: true })), id);
      await page.waitForSelector('.offers button[aria-pressed=false]');
      if (!text || await page.locator(`.picked-card >> text=${text}`).count()) return id;
    }
    throw new Error(`no section offers: ${text}`);
  };
  // The time is taken in the page: from the press until the plan is there.
  const until = (selector) => page.evaluate(async (s) => {
    const start = performance.now();
    document.querySelector(s).click();
    while (!document.documentElement.hasAttribute('data-working')) await new Promise((go) => { setTimeout(go, 0); });
    while (document.documentElement.hasAttribute('data-working')) await new Promise((go) => { setTimeout(go, 0); });
    return performance.now() - start;
  }, selector);
  const marked = (text) => page.evaluate((t) => { const b = [...document.querySelectorAll('.picked-card button')].find((e) => e.textContent.includes(t)); b.id = 'measured'; }, text);
  const edits = {
    'change of a pen': [100, async () => { await pick(); return until('.offers button[aria-pressed=false]'); }],
    'bare section': [250, async () => { await pick('Leave it bare'); await marked('Leave it bare'); return until('#measured'); }],
    'merge': [250, async () => { await pick('Give it to what surrounds it'); await marked('Give it to what surrounds it'); return until('#measured'); }],
    'detail': [600, () => timed(async () => { await slide('Detail', 4); await page.waitForSelector('[data-working]', { state: 'attached' }); await quiet(page); })],
    'tones': [600, () => timed(async () => { await slide('Most tones', 2); await page.waitForSelector('[data-working]', { state: 'attached' }); await quiet(page); })],
  };
  for (const [what, [aim, act]] of Object.entries(edits)) {
    const all = [];
    for (let i = 0; i < RUNS; i += 1) {
      all.push(await act());
      await quiet(page);
      await undo();
    }
    tell(`${what}, ms`, Math.round(median(all)), aim);
  }
  // The whole process that draws the page: the browser's own part of it, the module's code and its memory.
  const all = [renderer()];
  for (let round = 0; round < 3; round += 1) {
    for (let i = 0; i < EDITS; i += 1) {
      await slide('Detail', 1 + (i % 5));
      await page.waitForTimeout(20);
      await quiet(page);
    }
    all.push(renderer());
  }
  tell(`memory after 0, ${EDITS}, ${2 * EDITS}, ${3 * EDITS} edits, MiB`, all.map(Math.round).join(' '), '300, no growth');
  const empty = await browser.newPage();
  await page.context().close();
  await empty.waitForTimeout(1000);
  tell('the same of an empty page, MiB', Math.round(renderer()), '');
}
await browser.close();
