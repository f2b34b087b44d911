// Opens report pages in headless Chromium as a reader would: wide and narrow, light and dark, and on paper.
//
//   node check.mjs [--chromium PATH] [--shots FOLDER] [--figures N] PAGE.html...
//
// Fails (exit 1) where a page logs an error, asks for anything but itself, carries a script that its own policy does not name by its sum,
// takes longer than two seconds to open, lacks a figure's text alternative or table, cuts a figure's text, prints it over other text or over
// marks, is wider than a telephone, skips a heading level, or does not follow the reader's scheme. Tables that can be sorted and filtered are
// worked with as a reader would, and are whole where scripts are off. A bench-sheet.html, and job-cards.html, is a form for paper: black on white in either scheme, without figures. --figures N: at least N figures on every page. --shots FOLDER: leaves PNG and PDF there.

import { chromium } from 'playwright-core';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, statSync, writeFileSync } from 'node:fs';
import { basename, join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { parseArgs } from 'node:util';

const { values: options, positionals: files } = parseArgs({
  allowPositionals: true,
  options: {
    chromium: { type: 'string', default: '/usr/bin/chromium' },
    shots: { type: 'string' },
    figures: { type: 'string', default: '1' },
  },
});
if (files.length === 0) {
  console.error('no page given; usage: node check.mjs [--chromium PATH] [--shots FOLDER] [--figures N] PAGE.html...');
  process.exit(2);
}
for (const path of [options.chromium, ...files]) {
  if (!existsSync(path)) {
    console.error(`${path} does not exist`);
    process.exit(2);
  }
}
if (options.shots) mkdirSync(options.shots, { recursive: true });

const screens = [
  { name: 'wide', width: 1280, height: 900 },
  { name: 'narrow', width: 390, height: 844 },
];
const schemes = ['light', 'dark'];
const failures = [];

/** Runs in the page: everything that is wrong with what is shown, in words. */
function inspect({ leastFigures, screen }) {
  const wrong = [];
  const shown = (element) => element.getClientRects().length > 0;
  if (document.querySelectorAll('main').length !== 1) wrong.push('does not have one main landmark');
  if (!document.querySelector('meta[http-equiv="Content-Security-Policy"]')) wrong.push('has no content security policy');

  const root = document.documentElement;
  if (root.scrollWidth > window.innerWidth) {
    const widest = [...document.body.querySelectorAll('*')]
      .filter((e) => !e.closest('.table') && e.getBoundingClientRect().right > window.innerWidth + 1)
      .slice(0, 3)
      .map((e) => e.tagName.toLowerCase() + '.' + e.getAttribute('class'));
    wrong.push(`is ${root.scrollWidth} px wide in a window of ${window.innerWidth}: ${widest.join(', ')}`);
  }

  const levels = [...document.querySelectorAll('h1,h2,h3,h4')].filter(shown).map((h) => Number(h.tagName[1]));
  if (levels.filter((l) => l === 1).length !== 1) wrong.push('does not have one heading of the first level');
  levels.forEach((l, i) => {
    if (i > 0 && l > levels[i - 1] + 1) wrong.push(`heading ${i + 1} skips from level ${levels[i - 1]} to ${l}`);
  });

  /** Texts that lie on dots, lines or filled marks drawn before them. A filled rectangle hides what was drawn before it. */
  function overMarks(svg) {
    const found = [];
    const marks = [];
    const ink = (e) => (e.getAttribute('class') ?? '').split(' ').map((c) => c.slice(2));
    for (const e of svg.querySelectorAll('polyline,polygon,path,circle,rect,text')) {
      const box = e.getBoundingClientRect();
      const colours = ink(e);
      if (e.tagName === 'text') {
        // Letters fill about the middle half of a text's height.
        const letters = { left: box.left + 1, right: box.right - 1, top: box.top + 0.3 * box.height, bottom: box.bottom - 0.3 * box.height };
        const under = marks.find(({ hits }) => hits(letters));
        if (under) found.push(`"${e.textContent.trim()}" lies over a mark (${under.what})`);
        continue;
      }
      if (e.tagName === 'rect' && e.getAttribute('fill') !== 'none') for (const mark of marks) mark.cleared.push(box);
      if (!colours.some((c) => /wash|grid|paper|metal|casting|ground/.test(c)) || e.getAttribute('fill') === 'none') {
        if (colours.includes('grid')) continue;
        const lines = outlines(e).map((line) => line.map(([x, y]) => {
          const point = svg.createSVGPoint();
          [point.x, point.y] = [x, y];
          return point.matrixTransform(svg.getScreenCTM());
        }));
        const filled = e.getAttribute('fill') !== 'none';
        const cleared = [];
        const hits = (t) => {
          if (cleared.some((c) => c.left <= t.left + 2 && c.right >= t.right - 2 && c.top <= t.top && c.bottom >= t.bottom)) return false;
          if (lines.some((line) => line.some((p, k) => k > 0 && crosses(line[k - 1], p, t)))) return true;
          return filled && box.left < t.left && box.right > t.right && box.top < t.top && box.bottom > t.bottom;
        };
        marks.push({ hits, cleared, what: `${e.tagName} ${e.getAttribute('class')}` });
      }
    }
    return found;

    function outlines(e) {
      const number = (name) => Number(e.getAttribute(name));
      const pairs = (text) => text.trim().split(/\s+/).map((pair) => pair.split(',').map(Number));
      switch (e.tagName) {
        case 'path': return e.getAttribute('d').split('M').filter(Boolean).map(pairs);
        // As a polygon of 24 sides: one of four would cut through a number that stands inside its circle.
        case 'circle': return [Array.from({ length: 25 }, (_, k) => (k * Math.PI) / 12).map((t) => [number('cx') + number('r') * Math.cos(t), number('cy') + number('r') * Math.sin(t)])];
        case 'rect': {
          const [x, y, w, h] = ['x', 'y', 'width', 'height'].map(number);
          return [[[x, y], [x + w, y], [x + w, y + h], [x, y + h], [x, y]]];
        }
        default: return [pairs(e.getAttribute('points'))];
      }
    }

    /** Whether a line from a to b enters a box (Liang and Barsky's clipping). */
    function crosses(a, b, t) {
      let [from, to] = [0, 1];
      for (const [d, low, high] of [[b.x - a.x, t.left - a.x, t.right - a.x], [b.y - a.y, t.top - a.y, t.bottom - a.y]]) {
        if (Math.abs(d) < 1e-9) {
          if (low > 0 || high < 0) return false;
          continue;
        }
        const [p, q] = [low / d, high / d].sort((u, v) => u - v);
        from = Math.max(from, p);
        to = Math.min(to, q);
      }
      return from < to;
    }
  }

  // On a telephone a thumb needs 44 px.
  if (screen === 'narrow') {
    for (const e of [...document.querySelectorAll('button, select, input, summary, nav a')].filter(shown)) {
      const { height } = e.getBoundingClientRect();
      if (height < 43.5) wrong.push(`${e.tagName.toLowerCase()} "${e.textContent.trim().slice(0, 30)}" is ${height.toFixed(0)} px high: too low for a thumb`);
    }
  }
  const figures = [...document.querySelectorAll('figure')];
  if (figures.length < leastFigures) wrong.push(`has ${figures.length} figures, expected at least ${leastFigures}`);
  for (const figure of figures) {
    const name = figure.id || '(figure without id)';
    const drawings = [...figure.querySelectorAll('svg')].filter(shown);
    // What is asked for on the screen is not on paper.
    if (!shown(figure) && figure.classList.contains('asked')) continue;
    if (drawings.length !== 1) {
      wrong.push(`${name}: ${drawings.length} drawings shown instead of one`);
      continue;
    }
    const svg = drawings[0];
    // A chart that the page's own script draws has one format, and its name at itself.
    const asked = figure.classList.contains('asked');
    if (screen !== 'paper' && !asked && !svg.classList.contains(screen)) wrong.push(`${name}: the other format is shown`);
    if (svg.getAttribute('role') !== 'img') wrong.push(`${name}: role is not img`);
    if (asked && !svg.getAttribute('aria-label')?.trim()) wrong.push(`${name}: a drawn chart has no name`);
    for (const id of asked ? [] : (svg.getAttribute('aria-labelledby') ?? '').split(' ')) {
      if (!document.getElementById(id)?.textContent.trim()) wrong.push(`${name}: text alternative ${id} is empty`);
    }
    if (!figure.querySelector('details table tbody tr')) wrong.push(`${name}: no table of its numbers`);
    const box = svg.getBoundingClientRect();
    if (box.width < 100 || box.height < 20) wrong.push(`${name}: drawn ${box.width} × ${box.height} px`);
    const texts = [...svg.querySelectorAll('text')].map((t) => ({ words: t.textContent.trim(), box: t.getBoundingClientRect() }));
    for (const { words, box: b } of texts) {
      if (b.left < box.left - 2 || b.right > box.right + 2 || b.top < box.top - 2 || b.bottom > box.bottom + 2) {
        wrong.push(`${name}: "${words}" is cut off`);
      }
      // On paper 9 px are 6.8 points, letters of about 5.
      if (b.height < 9) wrong.push(`${name}: "${words}" is ${b.height.toFixed(1)} px high`);
    }
    wrong.push(...overMarks(svg).map((what) => `${name}: ${what}`));
    texts.forEach((a, i) => {
      for (const b of texts.slice(i + 1)) {
        const across = Math.min(a.box.right, b.box.right) - Math.max(a.box.left, b.box.left);
        const down = Math.min(a.box.bottom, b.box.bottom) - Math.max(a.box.top, b.box.top);
        // A text's box is higher than its letters: boxes of neighbouring lines may touch.
        if (across > 1 && down > 4) wrong.push(`${name}: "${a.words}" is printed over "${b.words}"`);
      }
    });
  }
  return wrong;
}

/** The page's script, and what its policy allows: one script whose sum the policy names, or none of either. */
function scripts() {
  const policy = document.querySelector('meta[http-equiv="Content-Security-Policy"]')?.content ?? '';
  const running = [...document.scripts].filter((s) => s.type === '');
  return { named: policy.match(/script-src '([^']*)'/)?.[1], texts: running.map((s) => s.textContent), from: running.map((s) => s.src).join('') };
}

/** Works with a page as its reader would; everything that does not come out right, in words. */
async function work(page) {
  const wrong = [];
  const boxes = page.locator('.table[data-sift]');
  for (let k = 0; k < (await boxes.count()); k += 1) {
    const box = boxes.nth(k);
    const name = await box.getAttribute('aria-label');
    const rows = box.locator('tbody tr:not(.drawn)');
    const shown = () => rows.evaluateAll((all) => all.filter((r) => !r.hidden).map((r) => [...r.cells].map((c) => c.dataset.v ?? (c.querySelector('b > i')?.nextSibling ?? c).textContent.trim())));
    const all = await shown();
    const form = page.getByRole('form', { name: `Choose rows: ${name}`, exact: true });
    const heads = await box.locator('thead th').allTextContents();
    const select = form.locator('select').first();
    if (await select.count()) {
      const value = await select.locator('option').nth(1).getAttribute('value');
      await select.selectOption(value);
      const left = await shown();
      const column = heads.indexOf((await select.evaluate((s) => s.parentElement.firstChild.textContent)).trim());
      const expected = all.filter((row) => row[column] === value.slice(1));
      if (left.length !== expected.length || left.length === 0) wrong.push(`${name}: ${left.length} rows chosen by ${value}, ${expected.length} have it`);
      await select.selectOption('all');
    }
    const word = all[0][heads.length > 1 ? 1 : 0];
    await form.locator('input').fill(word);
    if ((await shown()).length === 0) wrong.push(`${name}: no row with "${word}", which the first row has`);
    await form.locator('input').fill('no such word anywhere');
    if ((await shown()).length !== 0) wrong.push(`${name}: rows with words that none has`);
    await form.locator('input').fill('');
    const numbers = await box.locator('thead th').evaluateAll((h) => h.findIndex((head) => head.classList.contains('number')));
    if (numbers >= 0) {
      const sort = box.locator('thead th').nth(numbers).locator('button');
      await sort.focus();
      await page.keyboard.press('Enter');
      const keys = (await shown()).map((row) => row[numbers]).filter((v) => v !== '' && v !== '\u2013').map(Number);
      if (keys.some((v, i) => !Number.isFinite(v) || (i > 0 && keys[i - 1] > v))) wrong.push(`${name}: not sorted by ${heads[numbers]}`);
      await sort.click();
      await sort.click();
      if (JSON.stringify(await shown()) !== JSON.stringify(all)) wrong.push(`${name}: the first order does not come back`);
    }
    const draw = box.locator('.draw').last();
    if (await draw.count()) {
      await draw.focus();
      await page.keyboard.press('Enter');
      const drawn = box.locator('tr.drawn svg');
      if ((await drawn.count()) !== 1 || (await drawn.locator('circle').count()) === 0) wrong.push(`${name}: no chart was drawn`);
      else if (/NaN|Infinity|undefined/.test(await drawn.evaluate((svg) => svg.outerHTML))) wrong.push(`${name}: a chart with what is no number`);
    }
  }
  return wrong;
}

/** Points at a limit in a requirement's figure: the value under the pointer is that of the figure's own scale, and its shares are those of a limit moved there. */
async function pointed(page, form) {
  const wrong = [];
  const svg = page.locator(`#${await form.getAttribute('data-figure')} svg`).filter({ visible: true });
  await svg.scrollIntoViewIfNeeded();
  // The line drawn at the first limit: the only vertical line in the limits' ink.
  const at = await svg.evaluate((svg) => {
    const line = [...svg.querySelectorAll('.s-limit')].map((l) => l.getBoundingClientRect()).find((b) => b.width < 4 && b.height > 60);
    return line && { x: line.x + line.width / 2, y: line.y + line.height / 2 };
  });
  if (!at) return wrong;
  const limits = [];
  for (const side of ['lower', 'upper']) {
    const field = form.locator(`[name=${side}]`);
    if (await field.count()) limits.push([side, Number(await field.inputValue())]);
  }
  await page.mouse.move(at.x, at.y);
  const value = Number(await form.locator('[name=at]').inputValue());
  const { frames, lost } = JSON.parse(await form.locator('script').textContent());
  const pixel = (frames[0].high - frames[0].low) / (frames[0].right - frames[0].left);
  const near = limits.find(([, limit]) => Math.abs(limit - value) < 3 * pixel);
  if (!near) return [`the pointer on a limit's line reads ${value}, limits ${JSON.stringify(limits)}`];
  await form.locator('[name=at]').fill(String(near[1]));
  const read = Number(await form.locator('output.at').getAttribute(`data-${near[0]}`));
  const others = limits.filter(([side]) => side !== near[0]);
  for (const [side] of others) await form.locator(`[name=${side}]`).fill(side === 'lower' ? '-1e9' : '1e9');
  const alone = Number(await form.locator('output.outside').getAttribute('data-share')) - lost;
  for (const [side, limit] of others) await form.locator(`[name=${side}]`).fill(String(limit));
  if (Math.abs(read - alone) > 1e-9 + 1e-6 * alone + 3e-7) wrong.push(`${read} beyond ${near[1]} under the pointer, ${alone} by the limit alone`);
  return wrong;
}

/** Picks engines: their rows of the page's tables come together, each reading of a chart as a mark and as a row, at the settings as they stand. */
async function picked(page, form) {
  const wrong = [];
  const box = form.locator('.engine');
  const options = await form.locator('[name=engine] option').evaluateAll((all) => all.map((o) => ({ value: o.value, name: o.textContent })));
  const rows = await page.locator('table[data-name=engines] tbody tr').count();
  if (options.length !== rows) wrong.push(`${options.length} engines to pick of ${rows}`);
  const about = (table, value) => page.locator(`table[data-name=${table}] tr[data-about="${value}"]`).count();
  for (const { value, name } of [options[0], options[options.length - 1]]) {
    await form.locator('[name=engine]').selectOption(value);
    const heading = await box.locator('h3').textContent();
    if (heading !== `Engine ${name}`) wrong.push(`"${heading}" after ${name} was picked`);
    const [valves, work] = [await about('valves-today', value), await about('valves-to-do', value)];
    if ((await box.locator('h5').count()) !== valves) wrong.push(`${name}: ${await box.locator('h5').count()} valves of ${valves}`);
    // The numbers of a chart are tables too.
    const listed = await box.locator('.table:not(details .table) tbody tr').count();
    if (listed !== work) wrong.push(`${name}: ${listed} valves to do of ${work}`);
    const figures = await box.locator('figure').evaluateAll((all) => all.map((figure) => ({
      marks: figure.querySelectorAll('circle, polyline[stroke-width="1.6"]').length,
      numbers: figure.querySelectorAll('details tbody tr').length,
      words: figure.querySelector('h5').textContent,
      odd: /NaN|Infinity|undefined/.test(figure.outerHTML),
    })));
    for (const { marks, numbers, words, odd } of figures) {
      if (numbers === 0 || marks < numbers || odd) wrong.push(`${name}, ${words}: ${marks} marks for ${numbers} readings${odd ? ', and what is no number' : ''}`);
    }
  }
  // By the keyboard, from the table of engines: the heading has the focus, and another risk is said of this engine.
  const button = form.locator('tbody .draw').last();
  const name = await button.textContent();
  await button.focus();
  await page.keyboard.press('Enter');
  const focused = await page.evaluate(() => document.activeElement.textContent);
  if (focused !== `Engine ${name}`) wrong.push(`the focus is on "${focused}" after ${name} was picked by a key`);
  if ((await box.locator('.here').textContent()) !== '') wrong.push(`${name} is said to stand otherwise at the page's own settings`);
  await form.locator('[name=risk]').fill('0.1');
  await page.waitForTimeout(300);
  if (!(await box.locator('.here').textContent()).startsWith('At these settings: latest date')) wrong.push(`${name} says nothing at another risk`);
  await form.locator('button[type=reset]').click();
  await page.waitForTimeout(300);
  return wrong;
}

/** Moves limits and reads maps; what does not come out right, in words. */
async function instruments(page) {
  const wrong = [];
  const forms = page.locator('form.limits');
  for (let k = 0; k < (await forms.count()); k += 1) {
    const form = forms.nth(k);
    const name = await form.getAttribute('aria-label');
    const share = async () => Number(await form.locator('output.outside').getAttribute('data-share'));
    const { told, allowed } = JSON.parse(await form.locator('script').textContent());
    const first = await share();
    // The table has the program's own share at its own limits; what lies beyond a table is told as its end, some 1e-7.
    if (Math.abs(first - told) > 1e-4 * told + 3e-7) wrong.push(`${name}: ${first} outside by the table, the program says ${told}`);
    wrong.push(...(await pointed(page, form)).map((w) => `${name}: ${w}`));
    const upper = form.locator('[name=upper]');
    const field = (await upper.count()) ? upper : form.locator('[name=lower]');
    const value = await field.inputValue();
    await field.fill((await upper.count()) ? '-1e9' : '1e9');
    const words = await form.locator('output.outside').textContent();
    if ((await share()) < 0.999 && !words.includes('must be below')) wrong.push(`${name}: ${words} with a limit that leaves everything outside`);
    await field.fill(value);
    if (Math.abs((await share()) - first) > 1e-12) wrong.push(`${name}: does not come back to ${first}`);
    // All of the distribution moved away along a dimension's effect is outside.
    const dimension = form.locator('[name=dimension] option').nth(1);
    if (await dimension.count()) {
      await form.locator('[name=dimension]').selectOption({ index: 1 });
      await form.locator('[name=by]').fill('1e6');
      const way = Math.sign(Number(await dimension.getAttribute('value')));
      const there = (await upper.count()) || way < 0 ? 1 : 0;
      const left = (await form.locator('[name=lower]').count()) || way > 0 ? 1 : 0;
      if (there && left && (await share()) < 0.999) wrong.push(`${name}: ${await share()} outside after a nominal was moved by a kilometre`);
      await form.getByRole('button').click();
      await page.waitForTimeout(20);
      if (Math.abs((await share()) - first) > 1e-12) wrong.push(`${name}: does not come back to ${first}, which is allowed ${allowed}`);
    }
    // More scatter of a dimension, more outside; and another allowance turns the word, not the share.
    if (first > 1e-6 && first < 0.3 && (await form.locator('[name=scatter] option').count()) > 1) {
      await form.locator('[name=scatter]').selectOption({ index: 1 });
      await form.locator('[name=times]').fill('2');
      if (!((await share()) > first)) wrong.push(`${name}: ${await share()} outside with twice the scatter, ${first} without`);
      await form.getByRole('button').click();
      await page.waitForTimeout(20);
    }
    for (const [percent, word] of [['100', ', not more than'], ['0', ', more than']]) {
      await form.locator('[name=allowed]').fill(percent);
      const said = await form.locator('output.outside').textContent();
      if (first > 0 && !said.includes(word)) wrong.push(`${name}: "${said}" with ${percent} % allowed`);
    }
    await form.getByRole('button').click();
    await page.waitForTimeout(20);
  }
  const again = page.locator('form.again');
  for (let k = 0; k < (await again.count()); k += 1) {
    const form = again.nth(k);
    const changed = () => form.locator('.changed').count();
    if ((await changed()) > 0) wrong.push('the plan at other settings differs from the page at its own');
    await form.locator('[name=risk]').fill('0.1');
    await page.waitForTimeout(300);
    if ((await changed()) === 0) wrong.push('another risk changes nothing');
    if (!(await form.locator('pre').textContent()).includes('risk = 0.001')) wrong.push('the command does not ask for the risk');
    if (/NaN|Infinity|undefined/.test(await form.textContent())) wrong.push('a plan with what is no number');
    await form.locator('button[type=reset]').click();
    await page.waitForTimeout(300);
    if ((await changed()) > 0) wrong.push('the plan does not come back');
    wrong.push(...(await picked(page, form)));
  }
  const maps = page.locator('form.map');
  for (let k = 0; k < (await maps.count()); k += 1) {
    const form = maps.nth(k);
    const before = await form.locator('output').textContent();
    const svg = page.locator(`[id="${await form.getAttribute('data-map')}"] svg:visible`);
    const box = await svg.boundingBox();
    await svg.hover({ position: { x: 0.9 * box.width, y: 0.3 * box.height } });
    const there = await form.locator('output').textContent();
    if (there === before || !/does not bear/.test(there)) wrong.push(`map ${k}: "${there}" far out in the map`);
    await form.locator('[name=scatter]').focus();
    await page.keyboard.press('Home');
    if ((await form.locator('output').textContent()) === there) wrong.push(`map ${k}: a key on the slider changes nothing`);
  }
  return wrong;
}

/** Bytes, rows and seconds of pages worked with, for the record. */
const weighed = [];

const luminance = () => {
  const [r, g, b] = getComputedStyle(document.body).backgroundColor.match(/[\d.]+/g).map(Number);
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};

const browser = await chromium.launch({
  executablePath: options.chromium,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});
try {
  for (const file of files) {
    const sheet = ['bench-sheet.html', 'job-cards.html'].includes(basename(file));
    const leastFigures = sheet ? 0 : Number(options.figures);
    const url = pathToFileURL(resolve(file)).href;
    const opened = [];
    for (const screen of screens) {
      for (const scheme of schemes) {
        const where = `${file} (${screen.name}, ${scheme})`;
        const fail = (what) => failures.push(`${where}: ${what}`);
        const context = await browser.newContext({ viewport: screen, colorScheme: scheme, offline: false });
        const page = await context.newPage();
        page.on('console', (message) => {
          if (['error', 'warning'].includes(message.type())) fail(`console: ${message.text()}`);
        });
        page.on('pageerror', (error) => fail(`error: ${error.message}`));
        page.on('request', (request) => {
          if (request.url() !== url && !request.url().startsWith('data:')) fail(`asks for ${request.url()}`);
        });
        const began = performance.now();
        await page.goto(url, { waitUntil: 'load' });
        const rows = await page.evaluate(() => document.querySelectorAll('.table[data-sift] tbody tr').length);
        const seconds = (performance.now() - began) / 1000;
        opened.push(seconds);
        const { named, texts, from } = await page.evaluate(scripts);
        const sums = texts.map((text) => 'sha256-' + createHash('sha256').update(text).digest('base64'));
        if (from !== '' || sums.join() !== (named ?? '')) fail(`carries scripts ${sums} and allows ${named}`);
        if (rows > 0 && screen.name === 'wide' && scheme === 'light') weighed.push(`${file}: ${rows} rows, ${statSync(file).size} bytes, ${seconds.toFixed(2)} s at first`);
        for (const what of await page.evaluate(inspect, { leastFigures, screen: screen.name })) fail(what);
        const light = await page.evaluate(luminance);
        if (scheme === 'dark' && !sheet ? light > 80 : light < 175) fail(`the ground has luminance ${light.toFixed(0)}`);
        // The folded tables must not break the page either.
        await page.evaluate(() => document.querySelectorAll('details').forEach((d) => { d.open = true; }));
        const open = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
        if (open > 0) fail(`is ${open} px too wide with its tables unfolded`);
        await page.evaluate(() => document.querySelectorAll('details').forEach((d) => { d.open = false; }));
        if (options.shots) {
          await page.screenshot({ path: join(options.shots, `${basename(file, '.html')}-${screen.name}-${scheme}.png`), fullPage: true });
        }
        if (scheme === 'light') {
          for (const what of [...(await work(page)), ...(await instruments(page))]) fail(what);
          const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
          if (wide > 0) fail(`is ${wide} px too wide once it was worked with`);
          if (options.shots) await page.screenshot({ path: join(options.shots, `${basename(file, '.html')}-${screen.name}-worked.png`), fullPage: true });
        }
        if (rows > 0 && screen.name === 'narrow' && scheme === 'dark') {
          const plain = await browser.newContext({ viewport: screen, javaScriptEnabled: false });
          const still = await plain.newPage();
          await still.goto(url);
          const whole = await still.locator('.table[data-sift] tbody tr').count();
          if (whole !== rows) fail(`has ${whole} rows without its script, ${rows} with it`);
          await plain.close();
        }
        if (screen.name === 'wide' && scheme === 'dark') {
          // Paper is light whatever the screen is. 182 mm between the margins of A4, at 96 px to the inch.
          await page.emulateMedia({ media: 'print' });
          await page.setViewportSize({ width: 688, height: 1000 });
          const paper = await page.evaluate(luminance);
          if (paper < 250) fail(`prints on a ground of luminance ${paper.toFixed(0)}`);
          for (const what of await page.evaluate(inspect, { leastFigures, screen: 'paper' })) {
            fail(`printed: ${what}`);
          }
          const pdf = await page.pdf({ format: 'A4', printBackground: true });
          if (pdf.length < 10_000) fail(`prints to ${pdf.length} bytes`);
          if (options.shots) writeFileSync(join(options.shots, `${basename(file, '.html')}.pdf`), pdf);
        }
        await context.close();
      }
    }
    // A machine that is busy with other things slows one opening, seldom all four.
    if (Math.min(...opened) > 2) failures.push(`${file}: takes ${Math.min(...opened).toFixed(1)} s to open`);
  }
} finally {
  await browser.close();
}

weighed.forEach((line) => console.log(line));
if (failures.length > 0) {
  console.error(failures.join('\n'));
  console.error(`${failures.length} failures on ${files.length} pages`);
  process.exit(1);
}
console.log(`${files.length} pages: sound in both widths, both schemes and print`);
