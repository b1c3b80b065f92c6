// The built page in Chromium, from file://, against the desk tool.
import assert from 'node:assert/strict';
import { mkdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { after, before, test } from 'node:test';
import { pathToFileURL } from 'node:url';

import { chromium } from 'playwright-core';

import { built, cell, demo, file, invented, replay, review } from './desk.mjs';

let browser;
before(async () => {
  const executablePath = process.env.PAGE_CHROMIUM ?? '/usr/bin/chromium';
  browser = await chromium.launch({ executablePath, args: ['--no-sandbox'] });
});
after(() => browser?.close());

/** The page as it opens; `seen` collects requests and errors. */
async function open(options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  const seen = { requests: [], errors: [] };
  page.on('request', (request) => seen.requests.push(request.url()));
  page.on('console', (message) => message.type() === 'error' && seen.errors.push(message.text()));
  page.on('pageerror', (error) => seen.errors.push(error.message));
  await page.goto(pathToFileURL(built).href);
  await page.waitForSelector('html[data-ready]');
  return { page, seen };
}

async function drop(page, ...paths) {
  const files = paths.map((path) => ({ name: path.split('/').at(-1), text: readFileSync(path, 'utf8') }));
  await page.evaluate((files) => {
    const data = new DataTransfer();
    for (const { name, text } of files) data.items.add(new File([text], name, { type: 'text/csv' }));
    document.body.dispatchEvent(new DragEvent('dragover', { dataTransfer: data, bubbles: true, cancelable: true }));
    document.body.dispatchEvent(new DragEvent('drop', { dataTransfer: data, bubbles: true, cancelable: true }));
  }, files);
  const last = files.at(-1).name;
  await page.waitForFunction((name) => document.getElementById('about').textContent.includes(name) || !document.getElementById('fault').hidden, files[0].name ?? last);
}

const text = (page, selector) => page.locator(selector).first().innerText();
const table = (page, id) => page.locator(`#${id} tbody tr`).evaluateAll((rows) => rows.map((row) => [...row.cells].map((cell) => cell.textContent)));

/** What the page must show of a rehearsal. */
function scoreOf({ rehearsal: r }) {
  const night = [22, 23, 0, 1, 2, 3, 4, 5, 6];
  const sum = (of) => r.kinds.reduce((total, kind) => total + of(kind), 0);
  const rings = sum((kind) => kind.rings);
  const atNight = sum((kind) => night.reduce((total, hour) => total + kind.by_hour[hour], 0));
  return { rings, atNight, alarms: sum((kind) => kind.alarms), ...r };
}

/** The rehearsal's column of the page against the desk's figures; the days are the desk's to two digits. */
async function sameScore(page, column, rehearsal) {
  const want = scoreOf({ rehearsal });
  const rows = (await table(page, 'score')).map((row) => row[column]);
  const near = (shown, exact) => assert.ok(Math.abs(shown - exact) <= 0.06 + exact * 0.003, `${shown} ${exact}`);
  near(rows[0], want.rings / want.days);
  near(rows[1], want.alarms_per_day);
  assert.equal(rows[2], (want.atNight / want.nights).toFixed(1));
  assert.equal(rows[3], `${want.nights_woken} of ${want.nights}`);
  assert.equal(rows[4], `${want.lows_warned} of ${want.lows}`);
  assert.equal(rows[5], `${want.lows_warned_10_min} of ${want.lows}`);
  if (column === 1) {
    for (const [name, first, right, wrong, all] of await table(page, 'kinds')) {
      const kind = want.kinds.find((kind) => kind.kind.replaceAll('_', ' ') === name);
      const proven = kind.true_alarms === null ? ['', ''] : [`${kind.true_alarms}`, `${kind.false_alarms}`];
      assert.deepEqual([first, right, wrong, all], [`${kind.alarms}`, ...proven, `${kind.rings}`], name);
    }
  }
}

test('one file, one request, no errors, nothing may be fetched', async () => {
  assert.ok(statSync(built).size <= 100_000, `${statSync(built).size} bytes`);
  const { page, seen } = await open();
  assert.deepEqual(seen.requests, [pathToFileURL(built).href]);
  assert.deepEqual(seen.errors, []);
  let heard = 0;
  const server = createServer((_, response) => response.end(`${++heard}`)).listen(0, '127.0.0.1');
  await new Promise((listening) => server.once('listening', listening));
  const there = `http://127.0.0.1:${server.address().port}/`;
  const refused = await page.evaluate(async (there) => {
    const violations = [];
    document.addEventListener('securitypolicyviolation', (event) => violations.push(event.effectiveDirective));
    await fetch(there, { mode: 'no-cors' }).catch(() => {});
    const image = new Image();
    image.src = `${there}x.png`;
    const script = document.createElement('script');
    script.textContent = 'document.title = "run"';
    document.head.append(script);
    await new Promise((resolve) => setTimeout(resolve, 200));
    return { violations, title: document.title };
  }, there);
  server.close();
  assert.deepEqual(refused.violations.toSorted(), ['connect-src', 'img-src', 'script-src-elem']);
  assert.notEqual(refused.title, 'run');
  assert.equal(heard, 0);
});

test('at first the invented demo, which says so, with the desk’s numbers', async () => {
  const { page } = await open();
  assert.match(await text(page, '#about'), /invented demo: person, sensor and meter are simulated/);
  assert.match(await text(page, '.caution'), /Not a medical device/);
  assert.match(await text(page, 'footer'), /care team and local rules/);
  const desk = replay(demo());
  await sameScore(page, 1, desk.report.rehearsal);
  await sameScore(page, 2, desk.report.rehearsal);
  const sheet = review(demo());
  assert.equal(await text(page, '#figures div:nth-child(1) dd'), `${cell(sheet.mean_mg_dl, 0)} mg/dL`);
  assert.equal(await text(page, '#figures div:nth-child(5) dd'), `${cell(sheet.by_time.from_70_to_180_percent, 1)} %`);
  const totals = await table(page, 'totals');
  assert.deepEqual(totals.map((row) => row[1]), sheet.episode_totals.map(({ count }) => `${count}`));
  // every hour of the trace: the five answers
  for (let n = 0; n < desk.samples.length; n += 12) {
    await page.locator('#moment').fill(`${n}`);
    const s = desk.samples[n];
    const told = await page.evaluate(() => ['now', 'direction', 'soon', 'trust', 'wake', 'when'].map((id) => document.getElementById(id).textContent));
    const [now, direction, soon, , wake, when] = told;
    assert.ok(when.endsWith(s.time.slice(11, 16)), `${when} ${s.time}`);
    assert.ok(direction.startsWith(s.trend), `${direction} ${s.trend}`);
    if (s.plasma_mg_dl) assert.ok(now.includes(`blood: ${Math.round(s.plasma_mg_dl)}`) || Math.abs(s.plasma_mg_dl % 1 - 0.5) < 0.006, now);
    if (s.predicted_30min_mg_dl && Math.abs(s.predicted_30min_mg_dl % 1 - 0.5) > 0.006) {
      assert.ok(soon.startsWith(`${Math.round(s.predicted_30min_mg_dl)} mg/dL`), `${soon} ${s.predicted_30min_mg_dl}`);
    }
    assert.equal(soon.includes('low by then: under 1 %'), s.low_probability_30min !== '' && s.low_probability_30min < 0.01, soon);
    if (s.alarms) assert.ok(wake.startsWith('rings'), wake);
  }
});

test('a dropped trace with fingersticks is replayed as on the desk', async () => {
  const { page, seen } = await open();
  const files = invented(1, 14);
  await drop(page, files.trace, files.sticks);
  assert.match(await text(page, '#about'), /^person-1\.csv/);
  assert.equal(await page.locator('#fault').isVisible(), false);
  const desk = replay(files);
  assert.equal(await page.locator('#moment').getAttribute('max'), `${desk.samples.length - 1}`);
  await sameScore(page, 1, desk.report.rehearsal);
  assert.equal(await text(page, '#figures div:nth-child(3) dd'), `${cell(review(files).cv_percent, 1)} %`);
  assert.ok(await page.locator('#pattern .half').isVisible());
  // a ring after another, in their order
  await page.locator('#moment').fill('0');
  await page.locator('#ring-after').click();
  const first = desk.report.alarms[0].time.slice(11, 16);
  assert.ok((await text(page, '#wake')).includes(first), `${await text(page, '#wake')} ${first}`);
  assert.ok(await page.locator('#ring-before').isDisabled());
  const at = await page.locator('#moment').inputValue();
  await page.locator('#ring-after').click();
  assert.ok(+(await page.locator('#moment').inputValue()) > +at);
  // limits stay with another trace of one's own, and go with the demo
  await page.locator('#limit-low').fill('85');
  await drop(page, invented(2, 14).trace);
  assert.match(await text(page, '#limits label[for=limit-low]'), /85 mg/);
  await page.locator('#demo').click();
  assert.match(await text(page, '#limits label[for=limit-low]'), /70 mg/);
  assert.deepEqual(seen.errors, []);
});

test('a limit moved by keys is rehearsed as on the desk', async () => {
  const { page } = await open();
  const files = invented(1, 14);
  await drop(page, files.trace, files.sticks);
  const before = await table(page, 'score');
  await page.locator('#limit-low').focus();
  for (let n = 0; n < 15; n++) await page.keyboard.press('ArrowRight');
  await page.waitForFunction((was) => document.querySelector('#score tbody').textContent !== was, before.flat().join(''));
  await page.waitForTimeout(600);
  assert.match(await text(page, '#limits label[for=limit-low]'), /85 mg\/dL/);
  const { report } = replay(files, '--vary', 'low.limit=85');
  const [varied] = report.rehearsal.variations;
  await sameScore(page, 1, varied.score ?? varied);
  await sameScore(page, 2, report.rehearsal);
  // off by its box, and back
  await page.locator('#on-low_ahead').focus();
  await page.keyboard.press('Space');
  await page.waitForTimeout(600);
  const off = replay(files, '--settings', (writeFileSync(file('off.toml'), '[alarms.base.low]\nlimit = 85\n[alarms.base.low_ahead]\non = false\n'), file('off.toml')));
  await sameScore(page, 1, off.report.rehearsal);
  await page.locator('#defaults').click();
  assert.deepEqual(await table(page, 'score'), before);
  // low and high must stay apart: the refused limit goes back
  await page.locator('#limit-high').fill('120');
  await page.locator('#limit-low').fill('118');
  assert.match(await text(page, '#limits label[for=limit-low]'), /stay apart/);
  assert.equal(await page.locator('#limit-low').inputValue(), '70');
});

test('rows that cannot be read are counted and told, and what is no table changes nothing', async () => {
  const { page } = await open();
  const odd = file('odd.csv');
  writeFileSync(odd, 'Date;Time;Glucose (mmol/L)\n06.05.2024;07:00;5,6\n06.05.2024;07:05;LOW\n06.05.2024;07:10;<b>x</b>\nnever;07:15;6,0\n06.05.2024;07:20;\n06.05.2024;07:25;6,1\n');
  await drop(page, odd);
  const said = await text(page, '#about');
  assert.match(said, /^odd\.csv: 3 readings .* in mmol\/L/);
  assert.match(said, /Of 6 rows: 2 that could not be read .*1 without a value.*1 saying "low"/);
  await page.locator('#unread summary').click();
  assert.deepEqual(await page.locator('#unread li').allInnerTexts(), ['line 4: <b>x</b>', 'line 5: never 07:15']);
  assert.match(await text(page, '#now'), /mmol\/L/);
  const none = file('none.csv');
  writeFileSync(none, 'name,weight\na,80\n');
  await drop(page, none);
  assert.match(await text(page, '#fault'), /none\.csv: No header row/);
  assert.match(await text(page, '#about'), /^odd\.csv/);
  await page.locator('#demo').click();
  assert.match(await text(page, '#about'), /invented demo/);
  assert.equal(await page.locator('#fault').isVisible(), false);
  assert.equal(await page.locator('#unread').isVisible(), false);
});

test('fingersticks beside the readings, and with another trace on another clock', async () => {
  const { page } = await open();
  const beside = file('beside.csv');
  const rows = Array.from({ length: 60 }, (_, n) => `2024-05-06 ${String(7 + Math.floor(n / 12)).padStart(2, '0')}:${String((n % 12) * 5).padStart(2, '0')}Z,${120 + (n % 5)},${n === 30 ? 131 : ''}`);
  writeFileSync(beside, ['time,glucose_mg_dl,reference_mg_dl', ...rows].join('\n'));
  await drop(page, beside);
  assert.match(await text(page, '#about'), /1 fingerstick\./);
  assert.equal(await page.locator('#trace .stick').count(), 1);
  const files = invented(1, 14); // its times tell no zone
  await drop(page, files.trace, files.sticks);
  assert.equal(await page.locator('#fault').isVisible(), false);
  assert.match(await text(page, '#about'), /^person-1\.csv.* 28 fingersticks\./);
  const own = file('own.csv');
  writeFileSync(own, 'time,reference_mg_dl\n2026-01-06 12:00Z,120\n');
  await drop(page, own);
  assert.match(await text(page, '#fault'), /zone/);
  assert.match(await text(page, '#about'), / 28 fingersticks\./);
});

test('both units', async () => {
  const { page } = await open();
  const mgDl = await text(page, '#now strong');
  await page.locator('input[value="mmol/L"]').check();
  const mmol = await text(page, '#now strong');
  assert.match(mmol, /^\d+\.\d mmol\/L$/);
  assert.ok(Math.abs(parseFloat(mmol) - parseFloat(mgDl) / 18.0156) < 0.08, `${mmol} ${mgDl}`);
  assert.match(await text(page, '#limits label[for=limit-low]'), /3\.9 mmol\/L/);
  assert.match(await text(page, '#figures div:nth-child(5) dt'), /3\.9 to 10\.0 mmol\/L/);
  const left = await page.evaluate(() => [...document.querySelectorAll('#answers, #limits, #figures, #totals, #trace, #ranges, #pattern')].map((e) => e.textContent).join(' '));
  assert.doesNotMatch(left, /mg\/dL/);
});

test('by keys alone', async () => {
  const { page } = await open();
  const wanted = ['choose', 'demo', 'day', 'after', 'moment', 'ring-after', 'on-low', 'limit-low', 'limit-high', 'defaults'];
  const reached = new Set();
  for (let n = 0; n < 60; n++) {
    await page.keyboard.press('Tab');
    const id = await page.evaluate(() => {
      const { activeElement: at } = document;
      const { outlineStyle, outlineWidth } = getComputedStyle(at);
      return at === document.body ? '' : `${at.id}|${outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2}`;
    });
    const [name, marked] = id.split('|');
    if (name) assert.equal(marked, 'true', `${name} shows that it has the focus`);
    reached.add(name);
    if (name === 'after') {
      const day = await page.locator('#day').inputValue();
      await page.keyboard.press('Enter');
      assert.equal(await page.locator('#day').inputValue(), `${+day + 1}`);
    }
    if (name === 'moment') {
      const at = await page.locator('#moment').inputValue();
      const when = await text(page, '#when');
      await page.keyboard.press('ArrowRight');
      assert.equal(await page.locator('#moment').inputValue(), `${+at + 1}`);
      assert.notEqual(await text(page, '#when'), when);
    }
  }
  for (const id of wanted) assert.ok(reached.has(id), `${id} is reached`);
});

/** The lowest contrast of any text with its ground (WCAG 2.2, 1.4.3), and where. */
function contrasts() {
  const channel = (c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4);
  const luminance = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const parts = (colour) => colour.match(/[\d.]+/g).map(Number);
  const ground = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const [r, g, b, a = 1] = parts(getComputedStyle(at).backgroundColor);
      if (a === 1) return [r, g, b];
    }
    return [255, 255, 255];
  };
  let worst = [99, ''];
  let seen = 0;
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || !element.getClientRects().length || element.closest('script, noscript, option')) continue;
    const style = getComputedStyle(element);
    const colour = parts(element instanceof SVGElement ? style.fill : style.color);
    const [light, dark] = [luminance(colour), luminance(ground(element))].sort((a, b) => b - a);
    const ratio = (light + 0.05) / (dark + 0.05);
    seen++;
    if (ratio < worst[0]) worst = [ratio, walker.currentNode.data];
  }
  return { worst, seen };
}

const pictures = process.env.PAGE_PICTURES;
for (const colorScheme of ['light', 'dark']) {
  for (const width of [390, 1280]) {
    test(`${width} px, ${colorScheme}: fits, legible`, async () => {
      const { page } = await open({ viewport: { width, height: 844 }, colorScheme });
      await page.locator('summary').last().click();
      const { worst, seen } = await page.evaluate(contrasts);
      assert.ok(seen > 100, `${seen} texts`);
      assert.ok(worst[0] >= 4.5, `${worst[0].toFixed(2)}: ${worst[1]}`);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      assert.ok(wide <= width, `${wide} px wide`);
      const small = await page.locator('svg text').evaluateAll((all) => Math.min(...all.map((e) => e.getBoundingClientRect().height)));
      assert.ok(small >= 11, `text of ${small} px`);
      const outside = await page.locator('svg text').evaluateAll((all) => all.filter((e) => {
        const [box, frame] = [e.getBoundingClientRect(), e.ownerSVGElement.getBoundingClientRect()];
        return box.left < frame.left - 0.5 || box.right > frame.right + 0.5 || box.top < frame.top - 0.5 || box.bottom > frame.bottom + 0.5;
      }).map((e) => e.textContent));
      assert.deepEqual(outside, []);
      if (pictures) {
        mkdirSync(pictures, { recursive: true });
        await page.screenshot({ path: `${pictures}/${width}-${colorScheme}.png`, fullPage: true });
      }
    });
  }
}
