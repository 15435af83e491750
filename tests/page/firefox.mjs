// A smoke run of the page in Firefox, through WebDriver BiDi.
// usage: node firefox.mjs PAGE.html REPOSITORY FIREFOX
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';

const [pageFile, repository, executablePath] = process.argv.slice(2);
const packages = createRequire(join(resolve(repository), 'tests/guide/package.json'));
const puppeteer = packages('puppeteer-core');
const browser = await (puppeteer.default ?? puppeteer).launch({ browser: 'firefox', executablePath, headless: true });
let failed = 0;
const fact = (what, holds, found = '') => { console.log(`${holds ? 'ok  ' : 'FAIL'} ${what}${found !== '' ? ': ' + found : ''}`); if (!holds) failed += 1; };
const errors = [];
const page = await browser.newPage();
page.setDefaultTimeout(120_000);
page.on('pageerror', (e) => errors.push(String(e)));
page.on('console', (m) => m.type() === 'error' && errors.push(m.text()));
await page.goto(pathToFileURL(resolve(pageFile)).href);
const click = (text) => page.evaluate((t) => [...document.querySelectorAll('button')].find((b) => b.textContent.trim().startsWith(t) || b.textContent.includes(t)).click(), text);
await page.waitForSelector('.starts');
await click('Open the example');
await page.waitForSelector('.board .section');
const count = await page.evaluate(() => document.querySelectorAll('.board .section').length);
fact('the example becomes a plan in Firefox', count > 15, count);
await page.evaluate(() => document.querySelector('.board .section').dispatchEvent(new MouseEvent('click', { bubbles: true })));
await page.waitForSelector('.offers button');
fact('a section shows its pens', true);
await click('Color it');
await page.waitForSelector('.lay-out li');
await click('Open the guide');
await page.waitForSelector('.guide iframe');
fact('the guide opens', true);
fact('no error on the console', errors.length === 0, errors.join(' | '));
await browser.close();
if (failed > 0) process.exit(1);
