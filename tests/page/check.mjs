// Drives the page in headless Chromium, from disk, with playwright-core, and checks it with axe-core.
// usage: node check.mjs PAGE.html REPOSITORY OUT [PICTURES]
// Saves the demo's card, one changed at random, the panel's, and the card of several stamps into OUT. Prints one line per fact; exits with 1 and says which failed.
import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { dirname, join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { createRequire as requireFrom } from 'node:module';

const [pageFile, repository, out, pictures] = process.argv.slice(2);
const packages = requireFrom(join(resolve(repository), 'tests/guide/package.json'));
const { chromium } = packages('playwright-core');
const { unzipSync } = requireFrom(join(resolve(repository), 'src/page/web/package.json'))('fflate');
const axe = readFileSync(packages.resolve('axe-core/axe.min.js'), 'utf8');
const url = pathToFileURL(resolve(pageFile)).href;
const at = (name) => join(resolve(repository), name);
if (pictures) mkdirSync(pictures, { recursive: true });
/** Longest wait for the library, in milliseconds: a busy machine is no fault. */
const LONG = 90_000;

let failed = 0;
const fact = (what, holds, found = '') => {
  console.log(`${holds ? 'ok  ' : 'FAIL'} ${what}${found !== '' ? ': ' + found : ''}`);
  if (!holds) failed += 1;
};

const browser = await chromium.launch({
  executablePath: '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--disable-background-networking'],
});
const errors = [];
const requests = [];
const open = async (options = {}, before) => {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 }, acceptDownloads: true, ...options });
  if (before) await context.addInitScript(before);
  await context.addInitScript(() => {
    window.longest = 0;
    new PerformanceObserver((list) => { for (const e of list.getEntries()) window.longest = Math.max(window.longest, e.duration); }).observe({ type: 'longtask', buffered: true });
  });
  const page = await context.newPage();
  page.setDefaultTimeout(LONG);
  page.on('pageerror', (e) => errors.push(String(e)));
  page.on('console', (m) => ['error', 'warning'].includes(m.type()) && errors.push(m.text()));
  page.on('request', (r) => r.url() !== url && !/^(blob|data):/.test(r.url()) && requests.push(r.url()));
  await page.goto(url);
  return page;
};
const snap = (page, name) => pictures && page.screenshot({ path: `${pictures}/${name}.png` });
const step = async (page, name) => { await page.evaluate((n) => [...document.querySelectorAll('.ruler button')].find((b) => b.textContent.includes(n)).click(), name); };
/** The page has made the plan of what is on it. */
const quiet = async (page) => {
  await page.waitForFunction(() => !document.documentElement.hasAttribute('data-working') && !document.querySelector('.busy'), null, { timeout: LONG });
  await page.waitForTimeout(60);
};
/** Waits until something holds, which is then a fact; what it never was is one that failed. */
const becomes = async (what, page, holds, arg) => {
  let found = true;
  try { await page.waitForFunction(holds, arg, { timeout: LONG }); } catch { found = false; }
  fact(what, found, found ? '' : await page.locator('.trouble').allInnerTexts());
};
const trouble = (words) => new RegExp(words).test(document.querySelector('.trouble')?.innerText ?? '');
const example = async (page) => {
  await page.click('text=Open the example');
  await page.waitForSelector('.section', { timeout: LONG });
  await quiet(page);
};
const figures = async (page) => (await page.locator('.costs b').allInnerTexts()).join(', ');
const drawn = (page) => page.locator('.board .section').evaluateAll((all) => all.map((p) => `${p.dataset.section} ${p.getAttribute('fill')}`).join('\n'));
/** The figures are rounded: a plan may change under them. */
const shown = async (page) => `${await figures(page)}\n${await drawn(page)}`;
const tap = async (page, id) => {
  await page.evaluate((n) => document.querySelector(`.board [data-section="${n}"]`).dispatchEvent(new MouseEvent('click', { bubbles: true })), id);
  await page.waitForSelector('.picked-card');
};
const audit = async (page, where) => {
  await page.evaluate(axe);
  const { violations } = await page.evaluate(() => axe.run(document, { resultTypes: ['violations'] }));
  fact(`axe finds nothing: ${where}`, violations.length === 0, violations.map((v) => `${v.id} (${v.nodes.slice(0, 3).map((n) => n.target).join(' | ')})`).join('; '));
  const small = await page.evaluate(() => [...document.querySelectorAll('button, .button, select, .choice label, .check')]
    .filter((e) => e.getClientRects().length > 0)
    .map((e) => [e.textContent.trim().slice(0, 20) || e.getAttribute('aria-label'), e.getBoundingClientRect()])
    .filter(([, r]) => r.height < 43.5 || r.width < 43.5).map(([n, r]) => `${n} ${Math.round(r.width)}x${Math.round(r.height)}`));
  fact(`every target has 44 px: ${where}`, small.length === 0, small.join(', '));
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  fact(`nothing leaves the screen sideways: ${where}`, wide <= 0, wide);
  // The drawing is moved by a finger: a button on it would hide what is tapped.
  const over = await page.evaluate(() => {
    const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1;
    const drawings = [...document.querySelectorAll('.board svg')].map((e) => e.getBoundingClientRect());
    const stages = [...document.querySelectorAll('.stage')].map((e) => e.getBoundingClientRect());
    return [...document.querySelectorAll('.board button, .stage > .choice label')]
      .filter((e) => e.getClientRects().length > 0)
      .map((e) => [e.textContent, e.getBoundingClientRect()])
      .filter(([, r]) => drawings.some((d) => meet(d, r)) || !stages.some((s) => r.top >= s.top - 1 && r.bottom <= s.bottom + 1 && r.left >= s.left - 1 && r.right <= s.right + 1))
      .map(([n]) => n);
  });
  fact(`no button lies on a drawing, or leaves its place: ${where}`, over.length === 0, over.join(', '));
  const table = await page.evaluate(() => {
    if (!document.querySelector('.table')) return null;
    const place = document.querySelector('.place');
    const ruler = [...document.querySelectorAll('.ruler button')];
    const at = ruler.findIndex((b) => b.hasAttribute('aria-current'));
    const head = document.querySelector('.head').getBoundingClientRect();
    return {
      high: document.documentElement.scrollHeight - innerHeight, scrolled: scrollY || -head.top,
      // Either the ruler shows, or the short sign of where one is.
      told: place.getClientRects().length > 0 ? place.innerText.trim() : 'ruler',
      expected: ruler[at].getClientRects().length > 0 ? 'ruler' : `Step ${at + 1} of ${ruler.length}: ${ruler[at].querySelector('span').textContent}`,
      marks: [...place.querySelectorAll('.marks i')].map((i) => i.className).join(),
      marked: ruler.map((_, i) => (i < at ? 'past' : i === at ? 'here' : '')).join(),
    };
  });
  if (table) {
    fact(`the page itself stays where it is: ${where}`, table.high <= 0 && table.scrolled === 0, `${table.high} ${table.scrolled}`);
    fact(`one sees which step this is: ${where}`, table.told === table.expected && table.marks === table.marked, `${table.told} ${table.marks}`);
  }
};
/** Does something, looks what changed, undoes it and redoes it. */
const there = async (page, what, look, act) => {
  const before = await look(page);
  await act();
  await quiet(page);
  const after = await look(page);
  fact(`${what}: something changes`, before !== after);
  await page.click('button[aria-label^="Undo"]');
  await quiet(page);
  fact(`${what}: undone`, (await look(page)) === before);
  await page.click('button[aria-label^="Redo"]');
  await quiet(page);
  fact(`${what}: redone`, (await look(page)) === after);
  await page.keyboard.press('Control+z');
  await quiet(page);
};
const saved = async (page, press) => {
  const [download] = await Promise.all([page.waitForEvent('download', { timeout: LONG }), press()]);
  return { name: download.suggestedFilename(), data: readFileSync(await download.path()) };
};
const field = async (page, label, value) => {
  const input = page.locator(`.field label:has(span:text-is("${label}")) input`).first();
  await input.fill(String(value));
  await input.blur();
};
const slide = (page, name, to, nth = 0) => page.locator(`.slider:has-text("${name}") input`).nth(nth).evaluate((input, value) => {
  input.value = value;
  input.dispatchEvent(new Event('input', { bubbles: true }));
  input.dispatchEvent(new Event('change', { bubbles: true }));
}, to);
const unpack = (data, folder) => {
  rmSync(folder, { recursive: true, force: true });
  for (const [name, bytes] of Object.entries(unzipSync(new Uint8Array(data)))) {
    mkdirSync(dirname(join(folder, name)), { recursive: true });
    writeFileSync(join(folder, name), bytes);
  }
};

// ---- the example, every action and its undo
{
  const page = await open();
  await audit(page, 'the shelf');
  await example(page);
  await snap(page, 'sections');
  fact('the example becomes a plan', /^2\d,/.test(await figures(page)), await figures(page));
  await audit(page, 'sections');
  const sections = await page.locator('.board .section').count();
  // A large section with neighbors is a good place to try things.
  const large = await page.evaluate(() => [...document.querySelectorAll('.board .section')]
    .filter((p) => p.getAttribute('fill') !== '#ffffff')
    .sort((a, b) => { const [x, y] = [a.getBBox(), b.getBBox()]; return y.width * y.height - x.width * x.height; })
    .map((p) => Number(p.dataset.section)));
  let id = 0;
  for (id of large) {
    await tap(page, id);
    if (await page.locator('text=Give it to what surrounds it').count()) break;
  }
  await page.waitForSelector('.offers button');
  await snap(page, 'picked');
  await audit(page, 'a section');
  await page.click('text=See them on the section');
  fact('the pens show on the section itself', (await page.locator('#offers rect').count()) >= 3);
  await snap(page, 'stripes');
  await page.click('text=Take the stripes away');
  const back = async () => { if (!(await page.locator('.picked-card').count())) await tap(page, id); await page.waitForSelector('.offers button'); };
  await there(page, 'another pen', drawn, async () => { await back(); await page.click('.offers button[aria-pressed=false] >> nth=1'); });
  await there(page, 'a pen only here', drawn, async () => {
    await back();
    if (await page.locator('text=only here').count()) await page.click('text=only here');
    await page.click('.offers button[aria-pressed=false] >> nth=2');
  });
  await there(page, 'bare', drawn, async () => { await back(); await page.click('text=Leave it bare'); });
  await there(page, 'colored as another', drawn, async () => {
    await back();
    await page.click('text=Color it as another');
    const other = await page.evaluate((n) => Number([...document.querySelectorAll('.board .section')].find((p) => Number(p.dataset.section) !== n
      && p.getAttribute('fill') !== document.querySelector(`.board [data-section="${n}"]`).getAttribute('fill')).dataset.section), id);
    await page.evaluate((n) => document.querySelector(`.board [data-section="${n}"]`).dispatchEvent(new MouseEvent('click', { bubbles: true })), other);
  });
  await there(page, 'given to what surrounds it', drawn, async () => { await back(); await page.click('text=Give it to what surrounds it'); });
  await there(page, 'never this pen', drawn, async () => { await back(); await page.click('text=Never use this pen'); });
  await there(page, 'cut', async (p) => p.locator('.board .section').count(), async () => {
    await back();
    await page.click('button:text-is("Cut it")');
    const box = await page.locator(`.board [data-section="${id}"]`).boundingBox();
    await page.mouse.move(box.x - 4, box.y + box.height / 2);
    await page.mouse.down();
    for (let i = 1; i <= 12; i += 1) await page.mouse.move(box.x - 4 + ((box.width + 8) * i) / 12, box.y + box.height / 2 + (i % 2));
    await page.mouse.up();
  });
  fact('after all that is undone the sections are those of the beginning', (await page.locator('.board .section').count()) === sections);
  if (await page.locator('.picked-card').count()) await page.click('button[aria-label=Close]');
  await there(page, 'less detail', figures, () => slide(page, 'Detail', 1));
  await there(page, 'more detail', shown, () => slide(page, 'Detail', 5));
  await there(page, 'tones', figures, () => slide(page, 'Most tones', 1));
  for (const name of ['To trace', 'Photo']) { await page.click(`.choice >> text="${name}"`); await page.waitForTimeout(500); await snap(page, name); }
  // The photo comes from the worker as a sheet of the plan.
  await page.waitForSelector('.board image', { state: 'attached', timeout: LONG }).catch(() => {});
  fact('the photo shows under the lines', (await page.locator('.board image').count()) === 1);
  await page.click('.choice >> text=Finished');

  // Fit
  await step(page, 'Fit');
  await page.waitForSelector('.board image');
  await audit(page, 'fit');
  await page.click('button:text-is("Match places")');
  await page.waitForFunction(() => document.querySelectorAll('.board svg').length === 2);
  const pair = async (x, y) => {
    for (const k of [0, 1]) {
      const box = await page.locator('.board svg').nth(k).boundingBox();
      await page.mouse.click(box.x + box.width * x, box.y + box.height * y);
    }
  };
  const pairs = (p) => p.locator('.pairs li').count();
  await there(page, 'a matching place', pairs, () => pair(0.45, 0.35));
  await pair(0.45, 0.35);
  await there(page, 'a second one', pairs, () => pair(0.75, 0.6));
  await pair(0.75, 0.6);
  await quiet(page);
  await there(page, 'a matching place moved by a key', (p) => p.locator('.pin').evaluateAll((all) => all.map((g) => g.getAttribute('transform')).join()), async () => {
    await page.locator('.pin').nth(2).focus();
    await page.keyboard.press('ArrowRight');
  });
  fact('two places lay the photo by themselves', /point|match|place/i.test(await page.locator('section[aria-labelledby=fit]').innerText()) && (await page.locator('.trouble').count()) === 0);
  await snap(page, 'fit');
  await page.click('button[aria-label^="Undo"]');
  await page.click('button[aria-label^="Undo"]');
  await quiet(page);
  await page.click('button:text-is("That fits")');
  const white = (p) => p.locator('fieldset:has(legend:text-is("The photo\'s white")) label.on').innerText();
  await there(page, 'the photo\'s own white', white, () => page.click('text=As the photo has it'));
  await page.click('text=As the photo has it');
  await step(page, 'Color it');
  await page.waitForSelector('.lay-out li');
  const files = unzipSync(new Uint8Array((await saved(page, () => page.click('text=Save the card'))).data));
  const made = Object.keys(files).find((name) => name.endsWith('plan.json'));
  fact('and the plan is made with it', JSON.parse(Buffer.from(files[made])).job.white === 'none', made);
  await step(page, 'Fit');
  await page.waitForSelector('.board image');
  await page.click('button[aria-label^="Undo"]');
  await quiet(page);
  await there(page, 'a color of its own', async (p) => (await p.locator('.sources li').count()), () => page.click('text=A color of its own'));

  // Pens
  await step(page, 'Pens');
  await page.waitForSelector('.pens li');
  await audit(page, 'pens');
  const names = (p) => p.locator('.pens .name').evaluateAll((all) => all.map((i) => i.value).join('|'));
  await there(page, 'a pen renamed', names, async () => {
    await page.locator('.pens .name').first().fill('<b onclick="alert(1)">&"\' \u202eOat');
    await page.locator('.pens .name').first().blur();
    await page.waitForFunction(() => document.querySelector('.pens .name').value.startsWith('<b'));
  });
  await there(page, 'a new pen', names, async () => { const n = await page.locator('.pens li').count(); await page.click('text=Add a pen'); await page.waitForFunction((k) => document.querySelectorAll('.pens li').length > k, n); });
  const table = await saved(page, () => page.click('text=Save the table'));
  fact('the table is saved with every pen', table.data.toString().trim().split('\n').length === 51, table.name);
  const sheets = await saved(page, () => page.click('text=Print swatch sheets'));
  fact('swatch sheets are a PDF', sheets.data.subarray(0, 5).toString() === '%PDF-');

  // A scrap: patches on a card that is not quite white, as a camera sees them.
  const [bare, ink] = [[236, 233, 228], [182, 74, 62]];
  const scrap = Buffer.from(await page.evaluate(async ([card, pen]) => {
    const canvas = new OffscreenCanvas(1200, 900);
    const context = canvas.getContext('2d');
    context.fillStyle = `rgb(${card})`;
    context.fillRect(0, 0, 1200, 900);
    context.fillStyle = `rgb(${pen})`;
    context.fillRect(520, 370, 160, 160);
    return [...new Uint8Array(await (await canvas.convertToBlob({ type: 'image/png' })).arrayBuffer())];
  }, [bare, ink]));
  const scrapOf = async () => {
    await page.setInputFiles('.file:has-text("Read a scrap") input', { name: 'scrap.png', mimeType: 'image/png', buffer: scrap });
    await page.waitForSelector('.scrap image');
  };
  const measured = async (p) => p.locator('.pens li input[type=color]').nth(1).inputValue();
  await there(page, 'a pen measured on a scrap', measured, async () => {
    const was = await measured(page);
    await scrapOf();
    await audit(page, 'a scrap');
    await page.selectOption('.scrap select', { index: 1 });
    const box = await page.locator('.scrap image').boundingBox();
    await page.mouse.click(box.x + box.width * 0.3, box.y + box.height * 0.5);
    fact('a tap names the patch of a pen', (await page.locator('.scrap .pairs li').count()) === 1);
    await page.click('.scrap .pairs button');
    await page.selectOption('.scrap select', { index: 1 });
    await page.click('text=Put it in the middle');
    await page.locator('.scrap .pin').focus();
    for (let i = 0; i < 4; i += 1) await page.keyboard.press('ArrowRight');
    await snap(page, 'scrap');
    await page.click('.scrap button.main');
    await page.waitForFunction((old) => document.querySelectorAll('.pens li input[type=color]')[1]?.value !== old, was);
    // sRGB (IEC 61966-2-1): the patch's light over the card's is the ink on white paper.
    const linear = (v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
    const coded = (v) => 255 * (v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055);
    const expected = ink.map((v, k) => coded(linear(v) / linear(bare[k])));
    const found = (await measured(page)).match(/[0-9a-f]{2}/g).map((v) => parseInt(v, 16));
    fact('its color is that of the ink on white paper', found.every((v, k) => Math.abs(v - expected[k]) <= 2), `${found} for ${expected.map(Math.round)}`);
  });

  // Background
  await step(page, 'Background');
  await page.waitForSelector('.grounds li:nth-child(4)');
  await audit(page, 'background');
  await snap(page, 'background');
  await there(page, 'a pen around', async (p) => p.locator('.grounds [aria-pressed=true] span').innerText(), () => page.click('.grounds li:nth-child(3) button'));

  // Extras
  await step(page, 'Extras');
  await page.click('button:text-is("Other colors")');
  await page.waitForSelector('.extras img[alt^="The card as planned"]');
  await quiet(page);
  await there(page, 'a variant from another photo', (p) => p.locator('.extras .sources li').first().innerText(), async () => {
    await page.setInputFiles('.extras .file:has-text("From another photo") input', at('tests/data/coffee.png'));
    await page.waitForSelector('text=The card’s photo');
  });
  await page.click('button[aria-label^="Undo"]');
  await quiet(page);

  // Color it
  await step(page, 'Color it');
  await page.waitForSelector('.lay-out li');
  await audit(page, 'color it');
  const overlay = await saved(page, () => page.click('text=Overlay to print'));
  fact('the overlay is a PDF', overlay.data.subarray(0, 5).toString() === '%PDF-', overlay.name);
  await page.click('text=Open the guide');
  const guide = page.frameLocator('.guide iframe');
  await guide.locator('#done').waitFor();
  fact('the guide runs inside the page', /stamped|Done/.test(await guide.locator('#done').innerText()));
  await snap(page, 'guide');
  await page.click('text=Back to the card');
  const card = await saved(page, () => page.click('text=Save the card'));
  unpack(card.data, join(out, 'demo'));
  fact('the card is saved', card.name.endsWith('.zip'), card.name);

  // Reload in the middle: everything is there.
  await page.waitForTimeout(600);
  await page.reload();
  await page.waitForSelector('.cards li');
  await page.waitForSelector('.cards img');
  await snap(page, 'shelf');
  await page.click('.kept');
  await page.waitForSelector('.lay-out li');
  fact('after a reload the card goes on where it was', (await page.inputValue('.title')) === 'Persimmon and plums');
  fact('and what can be redone is still there', await page.locator('button[aria-label^="Redo"]').isEnabled());
  // The saved card opens again.
  await page.click('button[aria-label="All cards"]');
  await page.setInputFiles('.starts input[type=file]', { name: 'again.zip', mimeType: 'application/zip', buffer: card.data });
  await page.waitForFunction(() => document.querySelector('.title')?.value === 'again');
  await step(page, 'Sections');
  await page.waitForSelector('.section');
  fact('a saved card opens again', (await page.locator('.board .section').count()) === sections);
  // Work can be stopped, and goes on.
  await page.click('button[aria-label="All cards"]');
  await page.waitForFunction(() => document.querySelectorAll('.cards li').length === 2);
  fact('two cards lie on the shelf', true);
  await page.context().close();
}

// ---- anything in any order: what is saved in the end must be what the command line makes of its job
{
  const page = await open();
  await example(page);
  // A linear congruential generator (Numerical Recipes), so that every run does the same.
  let seed = 20_261;
  const below = (n) => { seed = (seed * 1_664_525 + 1_013_904_223) % 2 ** 32; return Math.floor((seed / 2 ** 32) * n); };
  const ids = () => page.locator('.board .section').evaluateAll((all) => all.map((p) => Number(p.dataset.section)));
  const some = async () => { const all = await ids(); return all[below(all.length)]; };
  const offer = async () => {
    await tap(page, await some());
    await page.waitForFunction(() => document.querySelector('.offers button, .picked-card .hint'));
    const offers = page.locator('.offers button[aria-pressed=false]');
    if (await offers.count()) await offers.nth(below(await offers.count())).click();
  };
  const press = async (text) => { await tap(page, await some()); const button = page.locator(`.picked-card >> text=${text}`).first(); if (await button.count()) await button.click(); };
  const tool = async (name) => { const button = page.locator(`button[aria-label^="${name}"]`); if (await button.isEnabled()) await button.click(); };
  // The sliders for the whole card show where no section is picked.
  const all = async (name, most) => {
    const close = page.locator('button[aria-label=Close]');
    if (await close.count()) await close.click();
    await slide(page, name, 1 + below(most));
  };
  const acts = [
    offer, offer,
    async () => { await tap(page, await some()); const here = page.locator('text=only here'); if (await here.count()) await here.first().click(); await offer(); },
    () => press('Leave it bare'), () => press('Give it to what surrounds it'), () => press('Never use this pen'),
    async () => { await press('Color it as another'); await page.evaluate((n) => document.querySelector(`.board [data-section="${n}"]`).dispatchEvent(new MouseEvent('click', { bubbles: true })), await some()); },
    () => all('Detail', 5), () => all('Most tones', 4),
    () => tool('Undo'), () => tool('Undo'), () => tool('Redo'),
  ];
  const done = [];
  for (let i = 0; i < 40; i += 1) {
    const k = below(acts.length);
    done.push(k);
    await acts[k]();
    // Some changes come before the plan of those before them is made.
    if (below(3) > 0) await quiet(page);
  }
  await quiet(page);
  fact('forty changes at random leave a plan and no trouble', (await ids()).length > 0 && (await page.locator('.trouble').count()) === 0, `${done.join(' ')} ${await page.locator('.trouble').allInnerTexts()}`);
  await step(page, 'Color it');
  await page.waitForSelector('.lay-out li');
  unpack((await saved(page, () => page.click('text=Save the card'))).data, join(out, 'random'));
  await page.context().close();
}

// ---- from a web host, and then without a network
{
  const folder = dirname(resolve(pageFile));
  const types = { html: 'text/html', js: 'text/javascript', svg: 'image/svg+xml', webmanifest: 'application/manifest+json' };
  const server = createServer((request, response) => {
    const name = new URL(request.url, 'http://localhost').pathname.slice(1);
    try {
      response.setHeader('content-type', types[name.split('.').at(-1)] ?? 'text/plain');
      response.end(readFileSync(join(folder, name)));
    } catch { response.writeHead(404).end(); }
  });
  await new Promise((go) => { server.listen(0, '127.0.0.1', go); });
  const host = `http://localhost:${server.address().port}`;
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 } });
  const page = await context.newPage();
  page.setDefaultTimeout(LONG);
  const abroad = [];
  page.on('request', (r) => !r.url().startsWith(host) && !/^(blob|data):/.test(r.url()) && abroad.push(r.url()));
  await page.goto(`${host}/penstrata.html`);
  await page.waitForFunction(async () => { await navigator.serviceWorker.ready; return Boolean(await caches.match('penstrata.html')); });
  server.close();
  server.closeAllConnections();
  await context.setOffline(true);
  await page.reload();
  await example(page);
  fact('hosted once, the page works without a network', (await page.locator('.board .section').count()) > 15);
  await step(page, 'Color it');
  await page.click('text=Open the guide');
  await page.frameLocator('.guide iframe').locator('#done').waitFor();
  fact('and so does its guide', true);
  fact('it asks nothing of another host', abroad.length === 0, abroad.join(' '));
  await context.close();
}

// ---- the whole way with a photo of a panel, on a phone
{
  const page = await open({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true });
  await audit(page, 'the shelf on a phone');
  await page.click('text=Begin a card');
  await audit(page, 'pictures on a phone');
  fact('the next step waits for the pictures', await page.locator('.foot .main').isDisabled());
  await page.setInputFiles('[aria-label=Photo] input >> nth=0', at('tests/data/coffee.png'));
  await page.waitForSelector('[aria-label=Photo] img');
  await page.setInputFiles('[aria-label=Drawing] input >> nth=0', at('tests/data/apple-panel.jpg'));
  await page.waitForSelector('[aria-label=Drawing] img');
  await page.setInputFiles('[aria-label=Pens] input >> nth=0', at('demo/pens.csv'));
  await page.click('text=a photo of my stamped panel');
  await quiet(page);
  await snap(page, 'phone-pictures');
  fact('now the next step is open', await page.locator('.foot .main').isEnabled());
  await page.click('.foot .main');
  await page.waitForSelector('.grip');
  await page.waitForSelector('.flat');
  await audit(page, 'the panel on a phone');
  await snap(page, 'phone-panel');
  const flat = (p) => p.locator('.flat').getAttribute('src');
  const corner = (p) => p.locator('.grip').first().getAttribute('style');
  const before = await corner(page);
  const first = await flat(page);
  const box = await page.locator('.grip').first().boundingBox();
  await page.mouse.move(box.x + 22, box.y + 22);
  await page.mouse.down();
  await page.mouse.move(box.x + 32, box.y + 30, { steps: 4 });
  fact('a glass shows the place under the finger', (await page.locator('.glass').count()) === 1);
  await page.mouse.up();
  await page.waitForFunction((src) => document.querySelector('.flat').src !== src, first);
  fact('a corner can be dragged', (await corner(page)) !== before);
  await page.locator('.grip').nth(2).focus();
  const third = await page.locator('.grip').nth(2).getAttribute('style');
  await page.keyboard.press('ArrowLeft');
  await page.waitForFunction((style) => document.querySelectorAll('.grip')[2].getAttribute('style') !== style, third);
  fact('and moved by a key', true);
  await page.click('button[aria-label^="Undo"]');
  await page.click('button[aria-label^="Undo"]');
  await page.waitForFunction((style) => document.querySelector('.grip').getAttribute('style') === style, before);
  await quiet(page);
  for (const name of ['Fit', 'Sections', 'Pens', 'Background', 'Extras', 'Color it']) {
    await page.click('.foot .main');
    await page.waitForTimeout(300);
    await quiet(page);
    await page.waitForTimeout(900);
    await snap(page, `phone-${name}`);
    await audit(page, `${name} on a phone`);
  }
  const card = await saved(page, () => page.click('text=Save the card'));
  unpack(card.data, join(out, 'panel'));
  await page.context().close();
}

// ---- a card of several stamps and pieces
const lying = (page) => page.locator('.lying').evaluateAll((all) => all.map((g) => `${g.dataset.image}: ${g.getAttribute('transform')} ${g.firstElementChild.getAttribute('transform')}`).join('\n'));
const values = (page) => page.locator('.side input, .side select').evaluateAll((all) => all.map((i) => (i.type === 'checkbox' ? i.checked : i.value)).join('|'));
const choose = async (page, name) => { await page.locator(`[data-image="${name}"]`).first().focus(); await page.keyboard.press('Enter'); await page.waitForSelector(`.picked-card[aria-label="${name}"]`); };
const drag = async (page, from, by) => {
  await page.mouse.move(...from);
  await page.mouse.down();
  await page.mouse.move(from[0] + by[0] / 2, from[1] + by[1] / 2, { steps: 3 });
  await page.mouse.move(from[0] + by[0], from[1] + by[1], { steps: 3 });
  await page.mouse.up();
};
const middle = (box) => [box.x + box.width / 2, box.y + box.height / 2];
{
  const page = await open();
  await page.click('text=Example with several stamps');
  await page.waitForSelector('.lying');
  await quiet(page);
  fact('four stamps and two pieces lie on the panel', (await page.locator('.lying.stamp').count()) === 4 && (await page.locator('.lying.piece').count()) === 2);
  const panel = await page.locator('.board .paper').boundingBox();
  fact('the panel has the proportion of A6 (ISO 216)', Math.abs(panel.width / panel.height - 105 / 148) < 0.005, panel.width / panel.height);
  await audit(page, 'the card');
  await snap(page, 'card');
  const pxPerMm = panel.width / 105;
  await there(page, 'a stamp dragged', lying, async () => {
    const before = await page.locator('[data-image="lantern"]').boundingBox();
    await drag(page, middle(before), [-12 * pxPerMm, 9 * pxPerMm]);
    const after = await page.locator('[data-image="lantern"]').boundingBox();
    const moved = [(after.x - before.x) / pxPerMm, (after.y - before.y) / pxPerMm];
    fact('it lies where it was dropped', Math.abs(moved[0] + 12) < 0.3 && Math.abs(moved[1] - 9) < 0.3, moved);
  });
  await there(page, 'a piece dragged', lying, async () => drag(page, middle(await page.locator('[data-image="small moth"]').boundingBox()), [40, 30]));
  await there(page, 'a stamp moved by a key', lying, async () => {
    await page.locator('[data-image="mushroom"]').focus();
    await page.keyboard.press('ArrowRight');
    await page.waitForFunction(() => document.querySelector('[data-image=mushroom]').getAttribute('transform').startsWith('translate(2600 '));
  });
  await choose(page, 'mushroom');
  await audit(page, 'a stamp chosen');
  await snap(page, 'stamp');
  await there(page, 'turned by its handle', lying, async () => drag(page, middle(await page.locator('.turner').boundingBox()), [60, 30]));
  await there(page, 'turned by a key', lying, async () => { await page.locator('.turner').focus(); await page.keyboard.press('ArrowRight'); });
  await there(page, 'turned by a number', lying, () => field(page, 'Turned, degrees', 90));
  await there(page, 'moved by numbers', lying, () => field(page, 'From the left, mm', 40));
  // The drawing is read again at its new width.
  const afterReading = async (p) => { await p.waitForTimeout(500); return lying(p); };
  await there(page, 'another width', afterReading, () => page.locator('.field label:has(span:text-is("Width of the whole drawing")) input').fill('30').then(() => page.keyboard.press('Tab')));
  await there(page, 'mirrored', lying, () => page.click('text=Mirrored, left to right'));
  const order = (p) => p.locator('.lying').evaluateAll((all) => all.map((g) => g.dataset.image).join());
  await there(page, 'to the back', order, () => page.click('text=Send to the back'));
  await choose(page, 'fern');
  await there(page, 'to the front', order, () => page.click('text=Bring to the front'));
  await there(page, 'in front of one', order, () => page.locator('.checks label:has-text("lantern") input').click());
  await there(page, 'another name', lying, () => field(page, 'Name', 'bracken'));
  await there(page, 'once more', lying, () => page.click('text=Stamp it once more'));
  await choose(page, 'right fern');
  fact('the same drawing is told to be colored the same', /Colored as fern/.test(await page.locator('.picked-card').innerText()));
  await there(page, 'colors of its own', (p) => p.locator('.picked-card').innerText(), () => page.click('text=Colors of its own'));
  await there(page, 'taken away', lying, () => page.click('text=Take it away'));
  await choose(page, 'fern');
  await there(page, 'its kin has its colors after it was taken away', lying, async () => {
    await page.click('text=Take it away');
    await quiet(page);
    fact('and the plan is made', (await page.locator('.trouble').count()) === 0, await page.locator('.trouble').allInnerTexts());
  });
  await choose(page, 'fern');
  await there(page, 'also as a piece', lying, () => page.click('text=Also as a piece to glue on'));
  await choose(page, 'large moth');
  await audit(page, 'a piece chosen');
  await there(page, 'glued on once more', lying, () => page.click('text=Glue one more on'));
  await choose(page, 'large moth');
  await there(page, 'more of a piece', values, () => field(page, 'How many to make', 3));
  await there(page, 'another cut', values, () => field(page, 'Cut outside the line, mm', 1.5));
  await page.click('.picked-card [aria-label=Close]');
  await there(page, 'a panel that lies', async (p) => Math.round((await p.locator('.board .paper').boundingBox()).width), () => page.locator('text=it lies on its side').first().click());
  await there(page, 'another mask', values, () => field(page, 'Masks: inside the line, mm', 0.8));
  await page.selectOption('label:has-text("Card that pieces are stamped on") select', 'own');
  await page.locator('.field input[placeholder]').last().fill('40 x 40 mm');
  await page.locator('.field input[placeholder]').last().blur();
  await becomes('a piece larger than its sheet is told', page, trouble, 'moth');
  await page.click('button[aria-label^="Undo"]');
  await quiet(page);
  fact('and undone', (await page.locator('.trouble').count()) === 0);
  fact('how it is stamped is told', (await page.locator('.side .steps li').count()) > 4);

  // A section left bare goes with its stamp.
  await step(page, 'Sections');
  await page.waitForSelector('.section');
  await audit(page, 'sections of a card');
  await snap(page, 'card-sections');
  fact('panel and pieces lie side by side', (await page.locator('.board .paper').count()) === 2);
  const bareOnes = (p) => p.evaluate(() => [...document.querySelectorAll('.board .section')].filter((s) => s.getAttribute('fill') === '#ffffff').map((s) => s.dataset.section).join());
  const none = await bareOnes(page);
  const largest = await page.evaluate(() => [...document.querySelectorAll('.board .section')].filter((s) => s.getAttribute('fill') !== '#ffffff')
    .sort((a, b) => b.getBBox().width * b.getBBox().height - a.getBBox().width * a.getBBox().height)[0].dataset.section);
  await tap(page, largest);
  await page.click('text=Leave it bare');
  await quiet(page);
  const some = await bareOnes(page);
  fact('a section of a card is left bare', some !== none, some);
  await step(page, 'Card');
  await page.waitForSelector('.lying');
  const kept = async () => {
    await quiet(page);
    await step(page, 'Sections');
    await page.waitForSelector('.section');
    const now = (await bareOnes(page)).split(',').filter(Boolean).length;
    await step(page, 'Card');
    await page.waitForSelector('.lying');
    return now;
  };
  const count = some.split(',').filter(Boolean).length;
  await choose(page, 'lantern');
  await field(page, 'Turned, degrees', 8);
  fact('it goes with its stamp when that is turned', (await kept()) === count && (await page.locator('.trouble').count()) === 0, await page.locator('.trouble').allInnerTexts());
  // Faster than the plan is made.
  await page.locator('[data-image="lantern"]').focus();
  for (let i = 0; i < 6; i += 1) await page.keyboard.press('ArrowUp');
  fact('and when it is moved', (await kept()) === count && (await page.locator('.trouble').count()) === 0, await page.locator('.trouble').allInnerTexts());
  for (let i = 0; i < 8; i += 1) { await page.click('button[aria-label^="Undo"]'); await quiet(page); }

  // Fit: colors are told of every drawing.
  await step(page, 'Fit');
  await page.waitForSelector('.board [data-cell]');
  await audit(page, 'fit of a card');
  await page.click('.choice >> text=fern');
  await page.waitForFunction(() => /right fern is colored the same/.test(document.querySelector('.side')?.innerText ?? ''));
  const colors = (p) => p.locator('.board [data-cell]').evaluateAll((all) => all.map((c) => c.getAttribute('fill')).join());
  await there(page, 'a color of a stamp', colors, () => page.locator('.sources input[type=color]').first().evaluate((input) => { input.value = '#336699'; input.dispatchEvent(new Event('change', { bubbles: true })); }));
  await page.click('.choice >> text=lantern');
  await page.waitForFunction(() => document.querySelectorAll('.sources li').length === 4);
  await there(page, 'a place given to another color', colors, async () => {
    const row = page.locator('.sources li').nth(2);
    await row.locator('text=Tap its places').click();
    await page.locator('.board [data-cell]').first().evaluate((c) => c.dispatchEvent(new MouseEvent('click', { bubbles: true })));
    await page.click('.now >> text=Enough places');
  });

  await there(page, 'warm shadows on white', (p) => p.locator('.choice:has-text("Warm grays") .on').innerText(), () => page.click('.choice >> text="Warm grays"'));

  // Background
  await step(page, 'Background');
  await page.waitForSelector('.grounds li:nth-child(3)');
  await audit(page, 'background of a card');
  await snap(page, 'card-background');
  await there(page, 'a pen around the stamps', async (p) => p.locator('.grounds [aria-pressed=true] span').innerText(), () => page.click('.grounds li:nth-child(2) button'));

  // Extras
  await step(page, 'Extras');
  await page.waitForSelector('.extras img[alt^="The card as planned"]');
  await page.waitForSelector('.extras img[alt^="Things"]');
  await audit(page, 'extras');
  await snap(page, 'extras');
  const names = (p) => p.locator('.extras .name').evaluateAll((all) => all.map((i) => i.value).join('|'));
  const sheet = (p) => p.locator('.extras img').first().evaluate(async (img) => {
    await img.decode();
    const canvas = new OffscreenCanvas(img.naturalWidth, img.naturalHeight);
    canvas.getContext('2d').drawImage(img, 0, 0);
    const all = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
    let sum = canvas.width;
    for (const v of all) sum = (sum * 31 + v) % 4294967291;
    return sum;
  });
  const drawnAgain = async (act) => {
    const src = await page.locator('.extras img').first().getAttribute('src');
    await act();
    await page.waitForFunction((old) => document.querySelector('.extras img')?.src !== old, src);
  };
  const settled = async (p) => { await quiet(p); await p.waitForTimeout(700); return sheet(p); };
  await there(page, 'other colors', names, () => page.click('button:text-is("Other colors")'));
  await there(page, 'hues turned', settled, () => drawnAgain(() => slide(page, 'Hues turned', 90)));
  await there(page, 'lighter', settled, () => drawnAgain(() => slide(page, 'Darker or lighter', 20)));
  await there(page, 'a name of a variant', names, async () => { await page.locator('.extras .name').first().fill('dawn / light'); await page.locator('.extras .name').first().blur(); });
  const forbidden = (p) => p.locator('.extras li button[aria-label^="Use "]').allInnerTexts().then((all) => all.join());
  await there(page, 'a pen left out', forbidden, () => page.locator('.extras select').first().selectOption({ index: 5 }));
  const words = (p) => p.locator('.extras .sources li').first().innerText();
  await there(page, 'a variant with pens of its own', words, async () => {
    await page.setInputFiles('.extras .file:has-text("From other pens") input >> nth=0', { name: 'few.csv', mimeType: 'text/csv', buffer: Buffer.from(readFileSync(at('demo/pens.csv')).toString().split('\n').filter((_, i) => i % 3 < 2).join('\n')) });
    await page.waitForSelector('text=The card’s pens');
  });
  await there(page, 'a variant removed', names, () => page.locator('.extras li button:text-is("Remove")').first().click());
  await there(page, 'no things to match', (p) => p.locator('.extras details').count(), () => page.locator('section[aria-labelledby=things] button:text-is("Remove")').click());
  await there(page, 'other things to match', (p) => p.locator('.extras details').evaluate((d) => d.textContent), async () => {
    await page.setInputFiles('section[aria-labelledby=things] input', { name: 'mine.csv', mimeType: 'text/csv', buffer: Buffer.from('name,color,kind\n"<b>Ocean</b>",#00ff00,thread\n"<b>Ocean</b> two",#ff00ff,gem\n') });
    await page.waitForFunction(() => document.querySelector('.extras details')?.textContent.includes('Ocean'), null, { timeout: LONG });
  });
  fact('markup in a thing’s name is text', (await page.locator('.extras b').count()) === 0);

  // Color it
  await step(page, 'Color it');
  await page.waitForSelector('text=Masks to print');
  await page.waitForSelector('.board image');
  await audit(page, 'color a card');
  await snap(page, 'card-color');
  for (const [button, start] of [['Layout to print', '%PDF-'], ['Masks to print', '%PDF-'], ['Cut lines', '<?xml|<svg']]) {
    const file = await saved(page, () => page.click(`text=${button}`));
    fact(`${button}: the file`, new RegExp(`^(${start})`).test(file.data.subarray(0, 5).toString()), file.name);
  }
  const card = await saved(page, () => page.click('text=Save the card'));
  unpack(card.data, join(out, 'card'));
  await step(page, 'Card');
  await page.waitForSelector('.lying');
  const all = await lying(page);
  await page.waitForTimeout(600);
  await page.reload();
  await page.waitForSelector('.cards img');
  await page.click('.kept');
  await page.waitForFunction(() => document.querySelectorAll('.lying').length === 6);
  fact('after a reload everything lies where it was', (await lying(page)) === all);
  await page.click('button[aria-label="All cards"]');
  await page.setInputFiles('.starts input[type=file]', { name: 'again.zip', mimeType: 'application/zip', buffer: card.data });
  await page.waitForFunction(() => document.querySelector('.title')?.value === 'again');
  await step(page, 'Card');
  await page.waitForFunction(() => document.querySelectorAll('.lying').length === 6);
  fact('a saved card of stamps opens again', (await lying(page)) === all);
  await page.context().close();
}

// ---- small and narrow phones, a tall drawing and a wide one; and a second card beside the first
for (const [width, height] of [[360, 640], [390, 844], [320, 568]]) {
  const page = await open({ viewport: { width, height }, hasTouch: true, isMobile: true });
  const on = (where) => `${where} at ${width} x ${height}`;
  await example(page);
  await audit(page, on('a wide drawing'));
  await snap(page, `phone-${width}-wide`);
  await page.click('.foot .back');
  await page.click('text=Match places');
  await page.waitForSelector('.stage.two .board >> nth=1');
  await audit(page, on('matching'));
  await snap(page, `phone-${width}-matching`);
  await page.click('[aria-label="All cards"]');
  await page.click('text=Example with several stamps');
  await page.waitForSelector('.lying');
  await quiet(page);
  await audit(page, on('a tall panel'));
  await step(page, 'Sections');
  await page.waitForSelector('.section');
  await quiet(page);
  fact(on('figures are held against no other card'), !/[(+\u2212]/.test(await page.locator('.costs').innerText()), await page.locator('.costs').innerText());
  await audit(page, on('a tall drawing'));
  await snap(page, `phone-${width}-tall`);
  // A drawing that nobody can see would be covered by nothing.
  const area = await page.locator('.board svg').evaluate((e) => { const r = e.getBoundingClientRect(); return Math.min(r.width, r.height); });
  fact(on('the drawing keeps its room'), area >= width * 0.45, area);
  await page.context().close();
}

// ---- a second stamp, on a phone, without a photo
{
  const page = await open({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true });
  await page.click('text=Begin a card');
  await page.setInputFiles('[aria-label=Pens] input >> nth=0', at('demo/pens.csv'));
  await page.setInputFiles('[aria-label=Drawing] input >> nth=0', at('demo/mushroom.svg'));
  await page.waitForSelector('[aria-label=Drawing] img');
  fact('a drawing is enough to go on', await page.locator('.foot .main').isEnabled());
  await page.locator('.field input').first().fill('44');
  await page.locator('.field input').first().blur();
  await page.setInputFiles('.file:has-text("Add a second stamp") input', at('demo/fern.svg'));
  await page.waitForFunction(() => document.querySelectorAll('.lying').length === 2);
  await audit(page, 'the card on a phone');
  await field(page, 'Turned, degrees', 33);
  await page.click('text=Mirrored, left to right');
  await field(page, 'From the left, mm', 50);
  await field(page, 'From the top, mm', 52);
  await page.click('text=Send to the back');
  await snap(page, 'phone-Card');
  // How far the ink reaches on the page, in millimeters of the panel: left, top, right, bottom.
  const reach = (p, ink) => p.evaluate((selector) => {
    const PX_PER_MM = 10;
    const paper = document.querySelector('.board .paper');
    const canvas = new OffscreenCanvas(105 * PX_PER_MM, 148 * PX_PER_MM);
    const context = canvas.getContext('2d');
    for (const path of document.querySelectorAll(selector)) {
      const lies = paper.getScreenCTM().inverse().multiply(path.getScreenCTM());
      context.setTransform(new DOMMatrix().scale(PX_PER_MM / 100).multiply(new DOMMatrix([lies.a, lies.b, lies.c, lies.d, lies.e, lies.f])));
      context.fill(new Path2D(path.getAttribute('d')), 'evenodd');
    }
    const { data, width, height } = context.getImageData(0, 0, canvas.width, canvas.height);
    let [left, top, right, bottom] = [width, height, 0, 0];
    for (let y = 0; y < height; y += 1) {
      for (let x = 0; x < width; x += 1) {
        if (data[(y * width + x) * 4 + 3] < 128) continue;
        [left, top, right, bottom] = [Math.min(left, x), Math.min(top, y), Math.max(right, x + 1), Math.max(bottom, y + 1)];
      }
    }
    return [left, top, right, bottom].map((v) => v / PX_PER_MM);
  }, ink);
  const laid = await reach(page, '.stamped');
  await page.click('.foot .main');
  await page.waitForSelector('.board [data-cell]');
  for (const name of ['mushroom', 'fern']) {
    await page.click(`.choice >> text=${name}`);
    await page.waitForFunction((n) => document.querySelector('.choice .on')?.textContent === n, name);
    await page.click('text=A color of its own');
    await quiet(page);
  }
  await audit(page, 'fit of a card on a phone');
  await page.click('.foot .main');
  await page.waitForSelector('.section');
  const planned = await reach(page, '.ink');
  fact('the plan has the ink where the page shows it', laid[2] > laid[0] && laid.every((v, k) => Math.abs(v - planned[k]) < 0.3), `${laid} and ${planned}`);
  for (const name of ['Pens', 'Extras', 'Color it']) {
    await page.click('.foot .main');
    await quiet(page);
    await page.waitForTimeout(900);
    await snap(page, `phone-card-${name}`);
    await audit(page, `${name} of a card on a phone`);
  }
  await page.context().close();
}

// ---- what can go wrong
{
  const page = await open();
  await page.click('text=Begin a card');
  await page.setInputFiles('[aria-label=Photo] input >> nth=0', { name: 'broken.jpg', mimeType: 'image/jpeg', buffer: Buffer.from('this is no picture') });
  await page.setInputFiles('[aria-label=Pens] input >> nth=0', at('demo/pens.csv'));
  await becomes('a damaged photo is told', page, trouble, 'broken\\.jpg');
  const photo = readFileSync(at('demo/reference.jpg'));
  await page.setInputFiles('[aria-label=Photo] input >> nth=0', { name: 'half.jpg', mimeType: 'image/jpeg', buffer: photo.subarray(0, photo.length / 2) });
  await becomes('a photo that ends too early is told', page, trouble, 'half\\.jpg');
  await page.setInputFiles('[aria-label=Photo] input >> nth=0', at('demo/reference.jpg'));
  await becomes('and gone with a sound one', page, () => !document.querySelector('.trouble'));
  await page.setInputFiles('[aria-label=Pens] input >> nth=0', { name: 'pens.csv', mimeType: 'text/csv', buffer: Buffer.from('name,color\nA,#123456\n') });
  await becomes('a table that is none is told', page, trouble, 'condition|refill');
  const named = 'name,color,refill,condition\n"<img src=x onerror=alert(1)>",#c2452d,yes,good\n"</script><script>alert(2)</script>",#7f9c46,yes,good\n';
  await page.setInputFiles('[aria-label=Pens] input >> nth=0', { name: 'pens.csv', mimeType: 'text/csv', buffer: Buffer.from(named) });
  await quiet(page);
  await step(page, 'Color it');
  // What lay there before is of other pens.
  await becomes('markup in a pen’s name is text', page, () => /<img|<\/script>/.test(document.querySelector('.lay-out')?.innerText ?? ''));
  fact('and makes no picture', (await page.locator('img[src=x]').count()) === 0);
  await page.click('text=Open the guide');
  await page.frameLocator('.guide iframe').locator('#done').waitFor();
  fact('in the guide, too', (await page.frameLocator('.guide iframe').locator('img[src=x]').count()) === 0);
  await page.context().close();
}
{
  // A device whose storage is full.
  const page = await open({}, () => {
    const put = IDBObjectStore.prototype.put;
    IDBObjectStore.prototype.put = function full(...args) {
      if (this.name === 'files') throw new DOMException('full', 'QuotaExceededError');
      return put.apply(this, args);
    };
  });
  await example(page);
  await page.waitForSelector('.storage');
  fact('a full storage is told, and the card stays', /no room/.test(await page.locator('.storage').innerText()) && (await page.locator('.board .section').count()) > 0);
  await page.context().close();
}
{
  // Long work can be stopped, and taken up again.
  const page = await open();
  await page.click('text=Open the example');
  await page.waitForSelector('.busy button');
  await page.locator('.busy button').evaluate((b) => b.click());
  await page.waitForFunction(() => !document.querySelector('.busy'));
  await step(page, 'Pictures');
  await page.locator('.field input').fill('100');
  await page.locator('.field input').blur();
  await step(page, 'Sections');
  await page.waitForSelector('.section');
  fact('work that was stopped is taken up again', true);
  // Told, not judged: a busy machine makes every task long.
  console.log(`     longest task on the main thread: ${Math.round(await page.evaluate(() => window.longest))} ms`);
  await page.context().close();
}

fact('no error on the console', errors.length === 0, errors.join(' | '));
fact('nothing is asked of a network', requests.length === 0, requests.join(' '));
await browser.close();
if (failed > 0) { console.log(`${failed} failed`); process.exit(1); }
