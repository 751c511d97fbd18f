// Opens pages that the program wrote in a real browser, as a reader would: on a phone, at a desk,
// on paper, by keyboard and by screen reader. From the project's top folder:
//
//     node tests/browser/pages.mjs PROGRAM SCRATCH_FOLDER
//
// One line a check; exit status 1 where one fails. At the end pages are broken on purpose, and each
// check must see its fault: a check that cannot fail checks nothing.

import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];

const SCREENS = {
  phone: { viewport: { width: 390, height: 844 }, deviceScaleFactor: 2 },
  desk: { viewport: { width: 1280, height: 900 } },
};
// In CSS pixels: the sheet, and what its margins of 15 mm leave of it.
const PAPERS = { A4: [794, 680], Letter: [816, 702] };
/** Findings of one check that are listed. */
const MOST = 10;
const SCHEMES = ['light', 'dark'];

const HOSTILE = '<script>document.title="owned"</script>';
const HOSTILE_PATTERN = '"><img src=x onerror=alert(1)>';

const [program, scratch] = process.argv.slice(2);
if (!program || !scratch) {
  console.error('usage: node pages.mjs PROGRAM SCRATCH_FOLDER');
  process.exit(2);
}
mkdirSync(scratch, { recursive: true });

/** A sheet and its periods where every name tries to be markup. */
function hostileSheet() {
  const cell = (value) => `"${String(value).replaceAll('"', '""')}"`;
  const table = (rows) => rows.map((row) => row.map(cell).join(',') + '\n').join('');
  const piece = (name, at) => [
    name, '<b>maker</b>', HOSTILE_PATTERN, 1950 + at, 'factory', HOSTILE, 4.1 + 0.03 * at, 141 + 0.3 * ((at * 5) % 9),
    46 + 0.1 * ((at * 7) % 9), 7 + 0.05 * ((at * 4) % 9), 12 + 0.1 * at,
  ];
  const good = Array.from({ length: 9 }, (_, at) => piece(`good ${at}`, at));
  const odd = piece(HOSTILE, 5);
  odd[6] = 5.9;
  const heads = [
    'specimen', 'maker', 'pattern', 'made', 'state', 'note', 'bit thickness (mm)', 'overall length (mm)',
    'bowl height (mm)', 'wall thickness (mm)', '<svg onload=alert(2)> & "more" (mm)',
  ];
  const [sheet, periods] = [`${scratch}/hostile.csv`, `${scratch}/hostile_periods.csv`];
  writeFileSync(sheet, table([heads, ...good, odd]));
  writeFileSync(periods, table([
    ['maker', 'period', 'from', 'to', 'standing', 'note'],
    ['<b>maker</b>', HOSTILE, 1940, 1970, 'good', ''],
  ]));
  return ['--from', sheet, '--periods-from', periods, '--new-dimensions'];
}

const PAGES = [
  { name: 'out-of-norm', specimen: 'HR0512', of: 'billiard H21, Harbour Row Works', from: ['--from', 'data'] },
  { name: 'traced', specimen: 'HR0054', of: 'billiard H21, Harbour Row Works', from: ['--from', 'data'] },
  {
    name: 'works', specimen: 'HR0601', of: 'canted dublin H78, Harbour Row Works',
    from: ['--from', 'data', '--file', 'data/bench/bench.csv', '--traces', 'data/bench/bench_traces.csv'],
  },
  { name: 'hostile', specimen: HOSTILE, of: `${HOSTILE_PATTERN}, <b>maker</b>`, from: hostileSheet() },
];
for (const page of PAGES) {
  page.file = resolve(scratch, `${page.name}.html`);
  execFileSync(program, ['page', page.specimen, ...page.from, '-o', page.file], { stdio: ['ignore', 'inherit', 'pipe'] });
}

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  args: [
    '--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
    '--disable-component-update', '--disable-sync',
  ],
});

/** Opens a page of the list with `options`, calls `look(tab, seen)` and closes it again. */
async function open(page, options, look) {
  const context = await browser.newContext({ offline: true, ...options });
  try {
    const tab = await context.newPage();
    // What the console says, and what else is asked for.
    const seen = { quiet: [], alone: [] };
    const address = pathToFileURL(page.file).href;
    tab.on('console', (line) => {
      if (['error', 'warning'].includes(line.type())) seen.quiet.push(`${line.type()}: ${line.text()}`);
    });
    tab.on('pageerror', (error) => seen.quiet.push(`uncaught: ${error.message}`));
    tab.on('dialog', (dialog) => {
      seen.quiet.push(`dialog: ${dialog.message()}`);
      return dialog.dismiss();
    });
    tab.on('request', (request) => {
      if (request.url() !== address) seen.alone.push(request.url());
    });
    await tab.goto(address);
    return await look(tab, seen);
  } finally {
    await context.close();
  }
}

// Each check gives what is wrong; an empty list is a pass.

async function title(tab, page) {
  const found = await tab.evaluate(() => [document.title, document.querySelector('h1').textContent]);
  const due = [`${page.specimen}: ${page.of}`, page.specimen];
  return found.flatMap((text, at) => (text === due[at] ? [] : [`"${text}" stands for "${due[at]}"`]));
}

function sideways(tab) {
  return tab.evaluate(() => {
    const { scrollWidth, clientWidth } = document.documentElement;
    if (scrollWidth <= clientWidth) return [];
    // What scrolls within a box of its own does not widen the page.
    const boxed = (e) => {
      for (let up = e.parentElement; up && up !== document.body; up = up.parentElement) {
        if (getComputedStyle(up).overflowX !== 'visible') return true;
      }
      return false;
    };
    const wide = [...document.body.querySelectorAll('*')].filter((e) => !boxed(e) && e.getBoundingClientRect().right > clientWidth + 0.5);
    const names = new Set(wide.map((e) => e.tagName.toLowerCase() + (e.className && e.className.baseVal === undefined ? `.${e.className}` : '')));
    return [`page is ${scrollWidth} px wide in ${clientWidth} px: ${[...names].join(', ')}`];
  });
}

/** Name and description of each picture, as the browser hands them to a screen reader. */
async function pictures(tab) {
  const devtools = await tab.context().newCDPSession(tab);
  await devtools.send('Accessibility.enable');
  const { root } = await devtools.send('DOM.getDocument', { depth: 0 });
  const { nodeIds } = await devtools.send('DOM.querySelectorAll', { nodeId: root.nodeId, selector: 'svg[role=img]' });
  const wrong = nodeIds.length ? [] : ['no picture'];
  for (const nodeId of nodeIds) {
    const { nodes } = await devtools.send('Accessibility.getPartialAXTree', { nodeId, fetchRelatives: false });
    const [name, told] = ['name', 'description'].map((part) => nodes[0]?.[part]?.value?.trim() ?? '');
    if (!name) wrong.push(`no name, described as "${told}"`);
    else if (!told) wrong.push(`no description: "${name}"`);
    // Without a description of its own a picture is described by its title.
    else if (name.includes(told)) wrong.push(`the description is in the name, so it is read twice: "${name}"`);
  }
  return wrong;
}

function headings(tab) {
  return tab.evaluate(() => {
    const wrong = document.querySelectorAll('h1').length === 1 ? [] : ['not one h1'];
    let before = 0;
    for (const heading of document.querySelectorAll('h1, h2, h3, h4, h5, h6')) {
      const level = Number(heading.tagName[1]);
      if (level > before + 1) wrong.push(`h${level} after h${before}: ${heading.textContent}`);
      before = level;
    }
    return wrong;
  });
}

/** Whether all that scrolls sideways is reached by the Tab key and moved by an arrow key. */
async function keyboard(tab, page, view) {
  await tab.evaluate(() => {
    const scrolls = (e) => e.scrollWidth > e.clientWidth && ['auto', 'scroll'].includes(getComputedStyle(e).overflowX);
    window.toReach = [...document.body.querySelectorAll('*')].filter(scrolls);
  });
  const count = await tab.evaluate(() => window.toReach.length);
  const reached = new Set();
  const wrong = [];
  for (let presses = 0; presses < count + 20 && reached.size < count; presses += 1) {
    await tab.keyboard.press('Tab');
    const at = await tab.evaluate(() => window.toReach.indexOf(document.activeElement));
    if (at < 0 || reached.has(at)) continue;
    reached.add(at);
    await tab.keyboard.press('ArrowRight');
    const moved = tab.waitForFunction((place) => window.toReach[place].scrollLeft > 0, at, { timeout: 3000 });
    await moved.catch(() => wrong.push('the arrow key does not scroll'));
  }
  if (reached.size < count) wrong.push(`${count - reached.size} of ${count} scrolling regions are out of the Tab key's reach`);
  if (view === 'phone' && !(await tab.evaluate(() => window.toReach.some((e) => e.matches('.wide'))))) {
    wrong.push('the wide table does not scroll, so nothing was tried');
  }
  return wrong;
}

/** Words in pictures: whole, apart from each other and of enough contrast (the rules of axe leave them out). */
function labels(tab) {
  return tab.evaluate(() => {
    const parts = (colour) => colour.match(/[\d.]+/g).map(Number);
    const light = (colour) => {
      const [r, g, b] = parts(colour).slice(0, 3).map((v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4));
      return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const ground = light(getComputedStyle(document.documentElement).backgroundColor);
    const wrong = [];
    for (const picture of document.querySelectorAll('svg[role=img]')) {
      const edge = picture.getBoundingClientRect();
      const name = picture.querySelector('title')?.textContent;
      const boxes = [];
      for (const text of picture.querySelectorAll('text')) {
        const box = text.getBoundingClientRect();
        const words = `"${text.textContent}" in "${name}"`;
        if (box.left < edge.left - 1 || box.right > edge.right + 1 || box.top < edge.top - 1 || box.bottom > edge.bottom + 1) {
          wrong.push(`cut: ${words}`);
        }
        const ink = light(getComputedStyle(text).fill);
        const contrast = (Math.max(ink, ground) + 0.05) / (Math.min(ink, ground) + 0.05);
        if (contrast < 4.5) wrong.push(`contrast ${contrast.toFixed(1)}: ${words}`);
        // A line's box is higher than its letters.
        const trim = box.height / 4;
        const over = boxes.find((b) => box.left < b.right && b.left < box.right && box.top + trim < b.bottom && b.top < box.bottom - trim);
        if (over) wrong.push(`over "${over.words}": ${words}`);
        boxes.push({ left: box.left, right: box.right, top: box.top + trim, bottom: box.bottom - trim, words: text.textContent });
      }
    }
    return wrong;
  });
}

/** What would be lost at the right edge of a sheet, or make all else smaller; pictures are cut at their own edge. */
async function edge(tab, page, paper) {
  const wrong = [];
  for (const width of PAPERS[paper]) {
    await tab.setViewportSize({ width, height: 1000 });
    const beyond = await tab.evaluate(() => {
      const limit = document.body.getBoundingClientRect().right + 0.5;
      const right = (node) => {
        const range = document.createRange();
        range.selectNodeContents(node);
        return (node.nodeType === Node.TEXT_NODE ? range : node).getBoundingClientRect().right;
      };
      const found = [];
      const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT);
      while (walker.nextNode()) {
        const node = walker.currentNode;
        const parent = node.parentElement;
        // The outermost that reaches beyond stands for all within.
        if (parent.closest('svg') || right(node) <= limit || right(parent) > limit) continue;
        const within = parent.closest('[class]');
        found.push(`${node.nodeName.toLowerCase()} in ${within ? `.${within.className}` : 'body'} by ${Math.ceil(right(node) - limit)} px: ${node.textContent.slice(0, 40)}`);
      }
      return found;
    });
    wrong.push(...beyond.map((of) => `at ${width} px: ${of}`));
  }
  return wrong;
}

/** Paper is white whatever the screen's scheme. */
async function paper(tab) {
  const ground = await tab.evaluate(() => getComputedStyle(document.documentElement).backgroundColor);
  return ground === 'rgb(255, 255, 255)' ? [] : [`ground is ${ground}`];
}

async function pdf(tab, page, format) {
  const written = (await tab.pdf({ format })).toString('latin1');
  const count = (pattern) => (written.match(pattern) ?? []).length;
  const wrong = written.startsWith('%PDF-') && count(/\/Type \/Page\b/g) > 0 ? [] : ['no pages'];
  return count(/\/Type \/Font\b/g) > 0 ? wrong : [...wrong, 'no text'];
}

async function axe(tab) {
  await tab.evaluate(AXE);
  const { violations } = await tab.evaluate((values) => window.axe.run({ runOnly: { type: 'tag', values }, resultTypes: ['violations'] }), RULES);
  return violations.flatMap((rule) =>
    rule.nodes.map((node) => `${rule.id} (${rule.impact}): ${node.target.join(' ')}: ${node.failureSummary.replace(/\s+/g, ' ')}`));
}

/** The checks of a page in one view and scheme, or one of them: what is wrong by the name of the check. */
async function checks(page, view, colorScheme, only) {
  const results = new Map();
  const wanted = (name) => !only || only === name;
  const run = async (list, tab) => {
    for (const check of list.filter((of) => wanted(of.name))) results.set(check.name, await check(tab, page, view));
  };
  const look = async (tab, seen, list) => {
    await run(list, tab);
    for (const [name, wrong] of Object.entries(seen)) if (wanted(name)) results.set(name, wrong);
  };
  if (view in PAPERS) {
    await open(page, { colorScheme }, async (tab, seen) => {
      await tab.emulateMedia({ media: 'print', colorScheme });
      await look(tab, seen, [title, paper, labels, edge, pdf]);
    });
    return results;
  }
  const screen = { ...SCREENS[view], colorScheme };
  await open(page, screen, (tab, seen) => look(tab, seen, [title, sideways, pictures, headings, labels, keyboard]));
  // The page's own policy would keep the rules from running.
  if (wanted(axe.name)) await open(page, { ...screen, bypassCSP: true }, (tab) => run([axe], tab));
  return results;
}

const failures = [];
let passed = 0;
function report(ok, line, wrong) {
  console.log(`${ok ? 'ok  ' : 'FAIL'} ${line}`);
  if (ok) passed += 1;
  else failures.push([line, wrong]);
}

for (const page of PAGES) {
  for (const view of [...Object.keys(SCREENS), ...Object.keys(PAPERS)]) {
    for (const scheme of SCHEMES) {
      for (const [check, wrong] of await checks(page, view, scheme)) {
        report(wrong.length === 0, `${page.name}, ${view}, ${scheme}: ${check}`, wrong);
      }
    }
  }
}

// Faults that are put in on purpose, each with the check that must see it: without the page's policy
// where that would stop the fault.
const unguarded = (html) => html.replace(/<meta http-equiv="Content-Security-Policy"[^>]*>/, '');
const added = (markup) => (html) => html.replace('</main>', `${markup}</main>`);
const styled = (rule) => (html) => unguarded(html).replace('</style>', `${rule}</style>`);
const unguardedWith = (markup) => (html) => added(markup)(unguarded(html));
const STRANGE = '<img alt="strange" src="https://pictures.invalid/x.png">';
const FAULTS = [
  ['a script that the policy stops', 'quiet', 'desk', added('<script>1</script>')],
  ['a script that runs', 'title', 'desk', unguardedWith(HOSTILE)],
  ['a script that fails', 'quiet', 'desk', unguardedWith('<script>none()</script>')],
  ['a script that asks', 'quiet', 'desk', unguardedWith('<img alt="" src="data:," onerror="alert(1)">')],
  ['a picture from elsewhere that the policy stops', 'quiet', 'desk', added(STRANGE)],
  ['a picture from elsewhere', 'alone', 'desk', unguardedWith(STRANGE)],
  ['a style that the policy does not know', 'quiet', 'phone', (html) => html.replace('</style>', 'p { margin: 0; }</style>')],
  ['a line wider than a phone', 'sideways', 'phone', styled('h1 { width: 30rem; }')],
  ['a picture without a name', 'pictures', 'desk', (html) => html.replace(/<title id="[^"]*-name">[^<]*<\/title>/, '').replace(/ aria-labelledby="[^"]*"/, '')],
  ['a picture without a description', 'pictures', 'desk', (html) => html.replace(/<desc id="[^"]*">[^<]*<\/desc>/, '')],
  ['a heading that skips a level', 'headings', 'desk', (html) => html.replace(/<h2>(.*?)<\/h2>/, '<h4>$1</h4>')],
  ['a table out of reach of the keyboard', 'keyboard', 'phone', (html) => html.replace('class="wide" tabindex="0"', 'class="wide" tabindex="-1"')],
  ['a label beyond its picture', 'labels', 'desk', styled('svg .tick { font-size: 90px; }')],
  ['a label too faint', 'labels', 'desk', styled('svg .tick { fill: #b9b2aa; }')],
  ['words too faint', 'axe', 'desk', styled('.small { color: #b9b2aa; }')],
  ['words too faint in the dark', 'axe', 'phone', styled('@media (prefers-color-scheme: dark) { .small { color: #55504a; } }'), 'dark'],
  ['a line wider than the sheet', 'edge', 'A4', styled('h2 { width: 700px; }')],
  ['words wider than their box', 'edge', 'Letter', styled('h2 { width: 20px; white-space: nowrap; text-indent: 650px; }')],
  ['a sheet that stays dark', 'paper', 'A4', styled('html { background: #1c1916; }'), 'dark'],
  ['an empty sheet', 'pdf', 'Letter', styled('body { visibility: hidden; }')],
];
const [sound] = PAGES;
const broken = { ...sound, file: resolve(scratch, 'broken.html') };
const whole = readFileSync(sound.file, 'utf8');
for (const [what, check, view, spoil, scheme = 'light'] of FAULTS) {
  writeFileSync(broken.file, spoil(whole));
  const before = (await checks(sound, view, scheme, check)).get(check);
  const now = (await checks(broken, view, scheme, check)).get(check);
  report(now.some((of) => !before.includes(of)), `put in on purpose, ${view}, ${scheme}: ${what}`, [`the check "${check}" does not see it`]);
}

await browser.close();
for (const [line, wrong] of failures) {
  console.log(`\n${line}`);
  for (const of of wrong.slice(0, MOST)) console.log(`    ${of.slice(0, 240)}`);
  if (wrong.length > MOST) console.log(`    and ${wrong.length - MOST} more`);
}
console.log(`\n${passed} checks hold, ${failures.length} fail`);
process.exit(failures.length ? 1 : 0);
