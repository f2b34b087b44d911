// Opens report pages in headless Chromium as a reader would: wide and narrow, light and dark, and on paper.
//
//   node check.mjs [--chromium PATH] [--shots FOLDER] [--figures N] PAGE.html...
//
// Fails (exit 1) where a page logs an error, asks for anything but itself, carries a script, lacks a figure's text
// alternative or table, cuts or overprints a figure's text, is wider than a telephone, skips a heading level, or does not
// follow the reader's scheme. A bench-sheet.html is a form for paper: black on white in either scheme, without figures. --figures N: at least N figures on every page. --shots FOLDER: leaves PNG and PDF there.

import { chromium } from 'playwright-core';
import { existsSync, mkdirSync, writeFileSync } from 'node:fs';
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
  if (document.scripts.length > 0) wrong.push('carries a script');
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

  const figures = [...document.querySelectorAll('figure')];
  if (figures.length < leastFigures) wrong.push(`has ${figures.length} figures, expected at least ${leastFigures}`);
  for (const figure of figures) {
    const name = figure.id || '(figure without id)';
    const drawings = [...figure.querySelectorAll('svg')].filter(shown);
    if (drawings.length !== 1) {
      wrong.push(`${name}: ${drawings.length} drawings shown instead of one`);
      continue;
    }
    const svg = drawings[0];
    if (screen !== 'paper' && !svg.classList.contains(screen)) wrong.push(`${name}: the other format is shown`);
    if (svg.getAttribute('role') !== 'img') wrong.push(`${name}: role is not img`);
    for (const id of (svg.getAttribute('aria-labelledby') ?? '').split(' ')) {
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
    const sheet = basename(file) === 'bench-sheet.html';
    const leastFigures = sheet ? 0 : Number(options.figures);
    const url = pathToFileURL(resolve(file)).href;
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
        await page.goto(url, { waitUntil: 'load' });
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
  }
} finally {
  await browser.close();
}

if (failures.length > 0) {
  console.error(failures.join('\n'));
  console.error(`${failures.length} failures on ${files.length} pages`);
  process.exit(1);
}
console.log(`${files.length} pages: sound in both widths, both schemes and print`);
