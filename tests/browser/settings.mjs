// What pages say at other settings, beside the program run at those settings.
//
//   node settings.mjs --program PATH [--chromium PATH] [--work FOLDER] [stack|fleet]...
//
// `stack`: limits of every requirement moved to shares from a half down to a millionth, and an allowance, of the demo pack and of one whose
// dimensions are not normal; the share that the page reads is held against `packdrift stack` with these limits in the pack file.
// `fleet`: risk, running and places of a part of the demo fleet at twenty settings and more; every engine's latest date, place, day, and chance,
// and the plan's cost, are held against `packdrift due` at these settings. Of another day or horizon the page must say that it cannot know.
// Fails (exit 1) where they differ by more than the program's own error, or by a day.

import { chromium } from 'playwright-core';
import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { parseArgs } from 'node:util';

const { values: options, positionals } = parseArgs({
  allowPositionals: true,
  options: {
    program: { type: 'string' },
    chromium: { type: 'string', default: '/usr/bin/chromium' },
    work: { type: 'string', default: join(tmpdir(), 'packdrift-settings') },
  },
});
if (!options.program) {
  console.error('usage: node settings.mjs --program PATH [--chromium PATH] [--work FOLDER] [stack|fleet]...');
  process.exit(2);
}
const wanted = positionals.length > 0 ? positionals : ['stack', 'fleet'];
const program = resolve(options.program);
const demo = resolve(fileURLToPath(import.meta.url), '../../../data/demo');
const work = resolve(options.work);
rmSync(work, { recursive: true, force: true });
mkdirSync(work, { recursive: true });
const failures = [];

/** Runs the program; its JSON. Status 1 says that something is out of limits, and is an answer too. */
function ask(...given) {
  const run = spawnSync(program, [...given, '--quiet', '--format', 'json'], { encoding: 'utf8', maxBuffer: 1 << 28 });
  if (run.status !== 0 && run.status !== 1) throw new Error(`${given.join(' ')}: ${run.status} ${run.stderr}`);
  return JSON.parse(run.stdout);
}

// ---- Limits that are moved ------------------------------------------------------------------------------------------

/** The pack file with other limits, by the requirement's name; a name stands for all of its conditions. */
function withLimits(text, limits) {
  const [head, ...requirements] = text.split('[[requirement]]');
  return [head, ...requirements.map((block) => {
    const name = block.match(/name = "([^"]*)"/)[1];
    const to = limits.get(name);
    if (!to) return block;
    return block
      .replace(/^lower = .*$/m, to.lower === undefined ? '' : `lower = ${to.lower}`)
      .replace(/^upper = .*$/m, to.upper === undefined ? '' : `upper = ${to.upper}`)
      .replace(/^target = .*$/m, '');
  })].join('[[requirement]]');
}

/** Standard deviations from the mean to which limits are moved: from a share of a half to one of a millionth. */
const DISTANCES = [0.1, 0.7, 1.3, 1.9, 2.45, 3.05, 3.6, 4.15, 4.7];

async function stack(browser, name, text, distances) {
  const pack = join(work, `${name}.toml`);
  writeFileSync(pack, text);
  const first = ask('stack', pack, '--out', join(work, name));
  const page = await browser.newPage();
  await page.goto(pathToFileURL(join(work, name, 'report.html')).href);
  const forms = page.locator('form.limits');
  const labels = await forms.evaluateAll((all) => all.map((form) => form.getAttribute('aria-label').replace('Move the limits of ', '')));
  let [read, worst] = [0, 0];
  for (const [k, z] of distances.entries()) {
    // A little to the one side, so that limits of two conditions of one requirement do not lie at the same share.
    const limits = new Map();
    for (const r of first.requirements) {
      const { mean, sd } = r.monte_carlo;
      const place = (sign) => Number((mean + sign * z * sd).toPrecision(6));
      limits.set(r.name, { ...(r.lower !== null && { lower: place(-1) }), ...(r.upper !== null && { upper: place(1) }) });
    }
    const moved = join(work, `${name}-${k}.toml`);
    writeFileSync(moved, withLimits(text, limits));
    const told = ask('stack', moved);
    for (const r of told.requirements) {
      const title = `${r.name} \u00b7 ${r.condition}`;
      const at = labels.indexOf(title);
      if (at < 0) continue;
      const form = forms.nth(at);
      for (const side of ['lower', 'upper']) if (r[side] !== null) await form.locator(`[name=${side}]`).fill(String(r[side]));
      const { share, known } = await form.locator('output.outside').evaluate((out) => ({ share: Number(out.dataset.share), known: out.dataset.known === 'true' }));
      const { total, standard_error: error } = r.monte_carlo.out;
      read += 1;
      // The program's error and that of the table, 1 % asked; half a percent between two of its limits.
      const allowed = 4.5 * Math.hypot(error, 0.01 * total) + 0.005 * total;
      if (known) worst = Math.max(worst, Math.abs(share / total - 1));
      if (known ? Math.abs(share - total) > allowed : total > share + allowed) {
        failures.push(`${name}, ${title}, limits ${r.lower} and ${r.upper}: the page reads ${share}${known ? '' : ' at most'}, the program says ${total} +- ${error}`);
      }
    }
  }
  // An allowance changes the word, not the share.
  const form = forms.first();
  await form.getByRole('button').click();
  await page.waitForTimeout(20);
  const out = form.locator('output.outside');
  const share = Number(await out.getAttribute('data-share'));
  for (const [factor, word] of [[1.1, ', not more than'], [0.9, ', more than']]) {
    await form.locator('[name=allowed]').fill(String(100 * share * factor));
    if (!(await out.textContent()).includes(word)) failures.push(`${name}: ${await out.textContent()} where ${factor} times the share is allowed`);
  }
  if (read < distances.length * 2) failures.push(`${name}: only ${read} limits were read`);
  console.log(`${name}: ${read} readings of moved limits beside the program's; largest difference ${(100 * worst).toFixed(2)} % of the share`);
  await page.close();
}

// ---- A fleet at other settings --------------------------------------------------------------------------------------

const day = (iso) => Math.round(Date.parse(iso) / 864e5);

/** A scenario file of what may be changed there. */
function scenario(name, { risk, times, places }, windows) {
  const lines = [`scenario = "${name}"`];
  if (risk) lines.push(`risk = ${risk}`);
  if (times) lines.push('[running]', `all = ${times}`);
  for (const [k, n] of Object.entries(places ?? {})) lines.push('[[resize]]', `start = ${windows[k]}`, `engines = ${n}`);
  return `${lines.join('\n')}\n`;
}

async function fleet(browser) {
  // Ten engines: enough for places to lack, and few enough for a dozen runs.
  const rows = readFileSync(join(demo, 'inspections.csv'), 'utf8').split('\n');
  const header = rows.findIndex((row) => row !== '' && !row.startsWith('#'));
  const column = rows[header].split(',').indexOf('engine');
  const kept = rows.filter((row, k) => k <= header || /^P(0[1-9]|10)$/.test(row.split(',')[column] ?? ''));
  const readings = join(work, 'inspections.csv');
  writeFileSync(readings, `${kept.join('\n')}\n`);
  const names = new Set(kept.slice(header + 1).map((row) => row.split(',')[column]));
  const text = readFileSync(join(demo, 'policy.toml'), 'utf8')
    .replace(/^P\d\d = .*\n/gm, (line) => (names.has(line.slice(0, 3)) ? line : ''))
    .replace(/^engines = 6/gm, 'engines = 2').replace(/^engines = 8/gm, 'engines = 3');
  const policy = join(work, 'policy.toml');
  writeFileSync(policy, text);
  const windows = [...text.matchAll(/^start = (\S+)/gm)].map((m) => m[1]);

  const base = ask('due', readings, '--policy', policy, '--out', join(work, 'fleet'));
  const later = (days) => new Date((day(base.today) + days) * 864e5).toISOString().slice(0, 10);
  // Settings of one run each: the first as the policy file says, the others as scenarios beside it. A fleet that runs faster is tabulated anew
  // by the program, so it has a run of its own.
  const runs = [
    {
      settings: [
        {}, { risk: 0.01 }, { risk: 0.02 }, { risk: 0.1 }, { risk: 0.2 }, { risk: 0.4 },
        { places: { 0: 1 } }, { places: { 0: 4, 1: 1 } }, { places: { 0: 6 } }, { places: { 0: 1, 1: 1, 2: 1 } }, { risk: 0.1, places: { 0: 1, 1: 1, 2: 1 } },
        { times: 0.5 }, { times: 0.9 }, { times: 0.8, risk: 0.02 }, { times: 0.7, places: { 1: 4 } }, { times: 0.6, risk: 0.15, places: { 0: 1, 2: 2 } },
      ],
    },
    { settings: [{}, { times: 1.1 }, { times: 1.33 }, { times: 1.6, places: { 0: 5 } }, { times: 2, risk: 0.1 }, { times: 1.2, risk: 0.02, places: { 1: 1 } }] },
  ];
  const page = await browser.newPage();
  await page.goto(pathToFileURL(join(work, 'fleet', 'report.html')).href);
  const form = page.locator('form.again');
  const engines = await form.locator(':scope > .table tbody th').allTextContents();
  let compared = 0;
  for (const [r, run] of runs.entries()) {
    const others = run.settings.slice(1).map((setting, k) => {
      const path = join(work, `scenario-${r}-${k}.toml`);
      writeFileSync(path, scenario(`${r} ${k}`, setting, windows));
      return ['--scenario', path];
    });
    const told = ask('due', readings, '--policy', policy, ...others.flat());
    for (const [k, setting] of run.settings.entries()) {
      const answer = k === 0 ? told : told.scenarios.scenarios[k - 1];
      await form.locator('button[type=reset]').click();
      await page.waitForTimeout(20);
      const fill = (name, value) => form.locator(`[name="${name}"]`).fill(String(value));
      if (setting.risk) await fill('risk', 100 * setting.risk);
      if (setting.times) await fill('times', setting.times);
      for (const [w, n] of Object.entries(setting.places ?? {})) await fill(`places-${w}`, n);
      await page.waitForTimeout(250);
      const said = await form.evaluate((f) => ({
        sum: f.answer.sum, end: f.answer.end, open: f.answer.open,
        engines: f.answer.engines.map(({ due, within, atOnce, window, done, daysLate }) => ({ due, within, atOnce, window, done, daysLate })),
      }));
      const what = JSON.stringify(setting);
      compare(what, setting, said, answer, engines, k === 0);
      compared += 1;
    }
  }
  // Another day or horizon is forecast anew by the program: the page says so, and how to ask.
  for (const [name, value, asked] of [['day', later(60), `--today ${later(60)}`], ['horizon', '3500', 'horizon = 3500']]) {
    await form.locator('button[type=reset]').click();
    await page.waitForTimeout(20);
    await form.locator(`[name=${name}]`).fill(value);
    await page.waitForTimeout(250);
    const [said, command] = [await form.locator(':scope > output').textContent(), await form.locator('pre').textContent()];
    if (!said.includes('run the command below') || !command.includes(asked)) failures.push(`fleet with another ${name}: "${said}" and "${command}"`);
  }
  await drawn(page, form, readings, ask('trend', readings, '--policy', policy, '--today', base.today));
  if (compared < 20) failures.push(`fleet: only ${compared} settings`);
  console.log(`fleet: ${compared} settings of ${engines.length} engines beside the program's`);
  await page.close();
}

/** An engine that is picked: its readings are those of the file, and the hours at which its valves reach their limits are those of `trend`. */
async function drawn(page, form, readings, trend) {
  const lines = readFileSync(readings, 'utf8').split('\n').filter((line) => line !== '' && !line.startsWith('#')).map((line) => line.split(','));
  const column = (name) => lines[0].indexOf(name);
  const of = (engine, valve, feature) => lines.filter((row) => row[column('engine')] === engine && row[column('valve')] === valve && row[column('feature')] === feature);
  let figures = 0;
  for (const option of await form.locator('[name=engine] option').evaluateAll((all) => all.map((o) => ({ value: o.value, name: o.textContent })))) {
    await form.locator('[name=engine]').selectOption(option.value);
    const shown = await page.evaluate((about) => {
      const { valves } = JSON.parse(document.getElementById('charts').textContent);
      const rows = [...document.querySelectorAll(`table[data-name=valves-today] tr[data-about="${about}"]`)].filter((row) => valves[row.dataset.chart]);
      const figures = [...document.querySelectorAll('form.again .engine figure')];
      return figures.map((figure, k) => ({
        name: figure.querySelector('h5').textContent,
        rows: [...figure.querySelectorAll('details tbody tr')].map((row) => [row.cells[0].textContent, row.cells[1].textContent, row.cells[2].textContent]),
        crossing: valves[rows[k].dataset.chart].crossing,
      }));
    }, option.value);
    for (const { name, rows, crossing } of shown) {
      const [valve, title] = name.split(', ');
      const feature = title.replaceAll(' ', '_');
      const file = of(option.name, valve, feature).map((row) => [Number(row[column('hours')]), row[column('date')], Number(row[column('value')])]);
      const page = rows.map(([hours, date, value]) => [Number(hours), date, Number(value)]);
      const sorted = (all) => JSON.stringify(all.map((row) => row.join(' ')).sort());
      if (sorted(file) !== sorted(page)) failures.push(`${option.name}, ${name}: ${page.length} readings on the page, ${file.length} in the file, or others`);
      const told = trend.features.find((f) => f.feature === feature).valves.find((v) => v.engine === option.name && v.valve === valve).crossing_hours;
      ['0.05', '0.5', '0.95'].forEach((key, k) => {
        const hours = told[key] === null ? null : Math.round(told[key]);
        if (hours !== crossing[k]) failures.push(`${option.name}, ${name}: reaches its limit at ${crossing[k]} h by the page, ${hours} h by trend`);
      });
      figures += 1;
    }
  }
  if (figures < 40) failures.push(`only ${figures} valves were drawn`);
  console.log(`fleet: ${figures} valves drawn beside the file and trend`);
}

function compare(what, setting, said, answer, names, whole) {
  const fail = (words) => failures.push(`fleet at ${what}: ${words}`);
  // Beyond the reach of the page's tables a date is not known: ten years of today's running.
  const far = day('1970-01-01') + said.end + 3000 / (setting.times ?? 1);
  // A faster fleet is tabulated anew by the program, farther out: its points lie elsewhere.
  const slack = (setting.times ?? 1) > 1 ? 2 : 0;
  const starts = answer.plan.windows.map((w) => day(w.start));
  for (const e of answer.engines) {
    const mine = said.engines[names.indexOf(e.engine)];
    if (!mine) {
      fail(`${e.engine} is not on the page`);
      continue;
    }
    const due = e.due === null ? null : day(e.due);
    const isFar = (d) => d === null || d > far;
    if (!(isFar(due) && isFar(mine.due)) && (due === null || mine.due === null || Math.abs(due - mine.due) > slack)) fail(`${e.engine} is due ${mine.due} by the page, ${due} by the program`);
    const place = e.window === null ? null : starts[e.window];
    const myPlace = mine.window === null ? null : said.open[mine.window][0];
    if (place !== myPlace) fail(`${e.engine} has its place ${myPlace} by the page, ${place} by the program`);
    if (mine.atOnce !== e.at_once) fail(`${e.engine} at once: ${mine.atOnce} by the page, ${e.at_once} by the program`);
    if (Math.abs(mine.done - day(e.done)) > slack) fail(`${e.engine} is done ${mine.done} by the page, ${e.done} by the program`);
    if (whole && Math.abs(mine.within - e.chance_by_horizon) > 5e-4 + 1e-3 * e.chance_by_horizon) fail(`${e.engine}: chance ${mine.within} by the page, ${e.chance_by_horizon} by the program`);
  }
  const { plan } = answer;
  const close = (a, b, part) => Math.abs(a - b) <= part * Math.abs(b) + 1e-9;
  if (said.sum.late !== plan.engines_late) fail(`${said.sum.late} late by the page, ${plan.engines_late} by the program`);
  if (!close(said.sum.cost, plan.expected_cost, slack ? 0.005 : 5e-4)) fail(`cost ${said.sum.cost} by the page, ${plan.expected_cost} by the program`);
  if (!close(said.sum.entered, plan.expected_late, slack ? 0.01 : 1e-3)) fail(`${said.sum.entered} entered by the page, ${plan.expected_late} by the program`);
}

const browser = await chromium.launch({
  executablePath: options.chromium,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});
try {
  if (wanted.includes('stack')) {
    const text = readFileSync(join(demo, 'pack.toml'), 'utf8');
    await stack(browser, 'demo', text, DISTANCES);
    const other = text.replace(/(tol = [0-9.]+)( *\})/g, '$1, distribution = "rectangular"$2').replace(/(tol = [0-9.]+), lot = "[^"]*"/g, '$1, distribution = "triangular"');
    await stack(browser, 'not-normal', other, DISTANCES.filter((_, k) => k % 3 === 1));
  }
  if (wanted.includes('fleet')) await fleet(browser);
} finally {
  await browser.close();
}
if (failures.length > 0) {
  console.error(failures.join('\n'));
  console.error(`${failures.length} failures`);
  process.exit(1);
}
