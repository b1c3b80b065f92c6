// The page: what was chosen is read, replayed, rehearsed and reviewed, and shown. `unpacked` and `failed` are load.js's.
import { Core } from './core.js';
import { drawDay, drawPattern, drawRanges, sign, svg, TWO_SIDED_95 } from './draw.js';
import { readTable } from './table.js';

const DAY = 86400;
const $ = (id) => document.getElementById(id);
/** The limits to move: by the name of the alarm, a step and how it is told. */
const LIMITS = [
  ['low', 'Low: at or under', 1],
  ['low_ahead', 'Low ahead: as likely as', 0.05],
  ['high', 'High: at or over', 5],
  ['steep_fall', 'Falls fast: at or over', 0.25],
  ['steep_rise', 'Rises fast: at or over', 0.25],
  ['no_data', 'No readings: for', 5],
];
const EPISODES = ['under 70', 'under 54', 'under 70 for two hours', 'over 180', 'over 250', 'over 250 for an hour and a half'];
const RANGES = ['under 54', '54 to 69', '70 to 180', '181 to 250', 'over 250'];
const IN_MMOL = {
  'under 70': 'under 3.9', 'under 54': 'under 3.0', 'under 70 for two hours': 'under 3.9 for two hours', 'over 180': 'over 10.0',
  'over 250': 'over 13.9', 'over 250 for an hour and a half': 'over 13.9 for an hour and a half', '54 to 69': '3.0 to 3.8',
  '70 to 180': '3.9 to 10.0', '181 to 250': '10.1 to 13.9',
};

const UNITS = [
  { name: 'mg/dL', mmol: false, toMgDl: (value) => value, show: (mgDl) => mgDl.toFixed(0), pace: (rate) => rate.toFixed(1) },
  {
    name: 'mmol/L', mmol: true, toMgDl: (value) => value * core.perMmol, show: (mgDl) => (mgDl / core.perMmol).toFixed(1),
    pace: (rate) => (rate / core.perMmol).toFixed(2),
  },
];
let unit = UNITS[0];
const told = (mgDl) => `${unit.show(mgDl)} ${unit.name}`;
/** A range in the chosen unit, which stands behind its numbers. */
const limit = (words) => {
  const [range, ...lasting] = (unit.mmol ? IN_MMOL[words] : words).split(' for ');
  return [`${range} ${unit.name}`, ...lasting].join(' for ');
};

let core;
let embedded;
/** The table shown, its fingersticks, and what came of them. */
let shown = {};

function make(name, ...children) {
  const element = document.createElement(name);
  element.append(...children);
  return element;
}

const two = (number) => String(number).padStart(2, '0');
const clockOf = (wall) => `${two(Math.floor(wall / 3600) % 24)}:${two(Math.floor(wall / 60) % 60)}`;
const dateOf = (day) => new Date(day * DAY * 1000).toLocaleDateString('en-GB', { timeZone: 'UTC', weekday: 'short', day: 'numeric', month: 'short', year: 'numeric' });
const dayOf = (wall) => Math.floor(wall / DAY);
const count = (number, one) => `${number.toLocaleString('en-GB')} ${one}${number === 1 ? '' : 's'}`;
const known = (value, words) => (Number.isFinite(value) ? words(value) : 'not known');
const lasting = (minutes) => (minutes < 90 ? `${minutes.toFixed(0)} min` : `${(minutes / 60).toFixed(1)} h`);

/** A probability in words, never 0 or 100 %. */
const chance = (p) => (p < 0.01 ? 'under 1 %' : p > 0.99 ? 'over 99 %' : `${(p * 100).toFixed(0)} %`);

function family(kind) {
  const { name } = shown.kinds[kind];
  return /low|floor|fall/.test(name) ? 'lows' : /high|rise/.test(name) ? 'highs' : 'others';
}

/** Reads tables, traces before fingersticks, and shows all anew. */
function open(files, about) {
  const fault = $('fault');
  fault.hidden = true;
  let taken = false;
  const read = files.map(({ name, text }) => {
    try {
      return { name, text, table: readTable(text) };
    } catch (error) {
      return { name, error };
    }
  });
  try {
    const trace = read.find(({ table }) => table && !table.ofMeter);
    if (trace) {
      core.take(trace.table);
      shown = { trace: trace.table, name: trace.name, about };
      taken = true;
    }
    const sticks = read.find(({ table }) => table?.ofMeter);
    if (sticks) {
      if (!shown.trace) throw new Error('These are fingersticks: choose the trace of a sensor first.');
      const table = readTable(sticks.text, shown.trace);
      core.take(table);
      shown.sticks = table;
      taken = true;
    } else if (trace?.table.own) {
      core.take(trace.table.own);
      shown.sticks = trace.table.own;
    }
    const bad = read.find(({ error }) => error);
    if (bad) throw new Error(`${bad.name}: ${bad.error.message}`);
  } catch (error) {
    fault.textContent = error.message;
    fault.hidden = false;
  }
  if (taken) begin();
}

/** What follows from a new table. */
function begin() {
  const set = core.kinds();
  core.wasm.defaults();
  play();
  shown.byDefault = shown.score;
  for (const kind of set) core.set(kind.n, kind.on, kind.limit);
  if (shown.about) core.wasm.defaults();
  play();
  unit = UNITS[+shown.trace.mmol];
  for (const choice of document.getElementsByName('unit')) choice.checked = choice.value === unit.name;
  shown.days = [...new Set(shown.samples.map((s) => dayOf(s.wall)))];
  $('day').replaceChildren(...shown.days.map((day) => {
    const option = make('option', dateOf(day));
    option.value = day;
    return option;
  }));
  shown.review = core.review();
  shown.quarters = core.rows('quarters');
  shown.episodes = core.rows('episodes');
  $('moment').max = shown.samples.length - 1;
  // at first the moment that shows most: the first ring about a low, else the end
  const ring = shown.rings.find((ring) => family(ring.kind) === 'lows');
  choose(ring ? nearest(ring.wall) : shown.samples.length - 1);
  tellFile();
  showLimits();
  showAll();
}

function play() {
  core.play();
  shown.samples = core.samples();
  shown.rings = core.rings().map((ring, n) => ({ ...ring, n }));
  shown.sticksTold = core.rows('sticks');
  shown.kinds = core.kinds();
  shown.score = core.score();
}

function showAll() {
  showReplay();
  showScore();
  showReview();
}

/** The sample nearest to a moment. */
function nearest(wall) {
  let best = 0;
  shown.samples.forEach((s, n) => {
    if (Math.abs(s.wall - wall) < Math.abs(shown.samples[best].wall - wall)) best = n;
  });
  return best;
}

function choose(n) {
  shown.chosen = Math.min(Math.max(n, 0), shown.samples.length - 1);
  const { wall } = shown.samples[shown.chosen];
  $('moment').value = shown.chosen;
  $('day').value = dayOf(wall);
}

function tellFile() {
  const { trace, sticks, name, about } = shown;
  const { counts } = trace;
  const said = [
    about ?? `${name}:`,
    `${count(trace.kept, 'reading')} from ${dateOf(shown.days[0])} to ${dateOf(shown.days.at(-1))}, in ${trace.mmol ? 'mmol/L' : 'mg/dL'}, every ${Math.round(trace.interval / 60) || 1} min.`,
  ];
  const odd = [
    [trace.unread.length, 'that could not be read (below)'],
    [counts.blank, 'without a value or time'],
    [counts.repeats, 'repeated exactly'],
    [counts.conflicts, 'with another value for a time that had one (the first was kept)'],
    [counts.outOfOrder, 'out of order (put in their place)'],
    [counts.low, 'saying "low" (taken as 40 mg/dL)'],
    [counts.high, 'saying "high" (taken as 400 mg/dL)'],
  ].filter(([number]) => number).map(([number, what]) => `${number} ${what}`);
  if (counts.newestFirst) odd.push('all running from newest to oldest (turned round)');
  if (counts.setBack) odd.push(`the clock set back ${count(counts.setBack, 'time')}`);
  if (odd.length) said.push(`Of ${count(counts.rows, 'row')}: ${odd.join('; ')}.`);
  if (counts.orderGuessed) said.push('Nothing tells day and month apart: the first number of a date was taken as the day.');
  if (sticks) said.push(`${count(sticks.kept, 'fingerstick')}${sticks.unread.length ? `, ${count(sticks.unread.length, 'row')} could not be read` : ''}.`);
  $('about').textContent = said.join(' ');
  const unread = [...trace.unread, ...(sticks?.unread ?? [])];
  $('unread').hidden = !unread.length;
  $('unread').querySelector('summary').textContent = `${count(unread.length, 'row')} could not be read`;
  const lines = unread.slice(0, 50).map(({ line, text }) => make('li', `line ${line}: ${text.slice(0, 80) || 'empty'}`));
  if (unread.length > 50) lines.push(make('li', `and ${unread.length - 50} more`));
  $('unread').querySelector('ul').replaceChildren(...lines);
}

function showReplay() {
  const { samples, rings, chosen } = shown;
  const here = samples[chosen];
  const day = dayOf(here.wall);
  const within = (wall) => dayOf(wall) === day;
  const place = shown.days.indexOf(day);
  $('before').disabled = place <= 0;
  $('after').disabled = place >= shown.days.length - 1;
  const ringing = rings.filter((ring) => within(ring.wall));
  const inDay = samples.filter((s) => within(s.wall));
  const label = `${dateOf(day)}: ${count(inDay.length, 'reading')}, ${count(ringing.length, 'ring')}; the moment chosen is told below.`;
  drawDay($('trace'), {
    samples: inDay, all: samples, rings: ringing, sticks: shown.sticksTold.filter(([wall]) => within(wall)), day, chosen: here, family,
    unit, longest: shown.trace.interval * 3.5, label,
    choose: (wall) => {
      choose(nearest(wall));
      showReplay();
    },
  });
  $('when').textContent = `${dateOf(day)}, ${clockOf(here.wall)}`;
  $('moment').setAttribute('aria-valuetext', `${dateOf(day)}, ${clockOf(here.wall)}: ${known(here.shown, told)}`);
  $('ring-before').disabled = !rings.some((ring) => ring.wall < here.wall);
  $('ring-after').disabled = !rings.some((ring) => nearest(ring.wall) > chosen);
  showAnswers(here, chosen);
  showLegend();
}

function answer(id, main, ...more) {
  $(id).replaceChildren(make('strong', main), ...more.filter(Boolean).map((words) => make('span', words)));
}

function showAnswers(here, place) {
  const [verdict, trend, grade, ...reasons] = core.words('samples', place);
  const bound = { '-1': 'at most ', 1: 'at least ' }[here.bound] ?? '';
  const sd = TWO_SIDED_95 * here.sd;
  answer('now', known(here.shown, (value) => bound + told(value)),
    here.bound === 2 && 'the sensor’s own value: it is doubted',
    Number.isFinite(sd) && Number.isFinite(here.plasma) && `blood: ${unit.show(here.plasma)}, 95 %: ${unit.show(Math.max(here.plasma - sd, 0))} to ${unit.show(here.plasma + sd)}`,
    `sensor: ${{ '-1': 'says low', 1: 'says high' }[here.status] ?? unit.show(here.sensor)}`);
  answer('direction', trend, known(here.rate, (rate) => `${unit.pace(rate)} ${unit.name} a minute now`),
    Number.isFinite(here.direction) && `${unit.pace(here.direction)} expected over 20 minutes`);
  const [, half] = here.ahead;
  answer('soon', known(half[1], (value) => `${told(value)} in 30 min`),
    Number.isFinite(half[2]) && `95 %: ${unit.show(Math.max(half[1] - TWO_SIDED_95 * half[2], 0))} to ${unit.show(half[1] + TWO_SIDED_95 * half[2])}`,
    Number.isFinite(here.low) && `a low by then: ${chance(here.low)}`,
    Number.isFinite(here.toLow) && `low in ${here.toLow.toFixed(0)} min at this pace`);
  answer('trust', grade, verdict !== 'accepted' && `this reading: ${verdict.replaceAll('_', ' ')}`,
    reasons.length > 0 && `because of: ${reasons.map((reason) => reason.replaceAll('_', ' ')).join(', ')}`);
  // with this reading, or in the silence before it
  const since = shown.samples[place - 1]?.wall ?? -Infinity;
  const rang = shown.rings.filter((ring) => ring.wall > since && ring.wall <= here.wall);
  answer('wake', rang.length ? `rings: ${core.words('rings', rang[0].n)[4]}` : 'nothing rings',
    ...rang.map(({ n, wall, glucose }) => {
      const [kind, priority, cause] = core.words('rings', n);
      return `${clockOf(wall)}, ${kind.replaceAll('_', ' ')}, priority ${priority}, ${cause}${Number.isFinite(glucose) ? `, at ${told(glucose)}` : ''}`;
    }));
}

function showLegend() {
  if ($('legend').children.length) return;
  const entry = (words, ...drawn) => make('li', svg('svg', { width: 28, height: 16, 'aria-hidden': 'true' }, ...drawn), ` ${words}`);
  $('legend').replaceChildren(
    entry('estimate of blood and its 95 % band', svg('rect', { class: 'band', y: 2, width: 28, height: 12 }), svg('path', { class: 'line', d: 'M0 8H28' })),
    entry('sensor', svg('path', { class: 'dots', d: 'M5 9h0M14 6h0M23 8h0' })),
    entry('forecast from the moment chosen, 95 %', svg('path', { class: 'ahead', d: 'M14 1v14m-4 0h8m-8 -14h8' }), svg('circle', { class: 'ahead-dot', cx: 14, cy: 8, r: 3.5 })),
    entry('rings about lows', sign('lows', 14, 13)),
    entry('about highs', sign('highs', 14, 13)),
    entry('about the sensor', sign('others', 14, 13)),
    entry('fingerstick', svg('path', { class: 'stick', d: 'M14 2l6 6l-6 6l-6 -6z' })),
    entry('no readings', svg('rect', { class: 'silent', y: 1, width: 28, height: 14 })),
  );
}

/** A limit in words. */
function limitWords(kind) {
  if (!kind.on) return 'off';
  if (kind.unit === 'probability') return `${(kind.limit * 100).toFixed(0)} %`;
  if (kind.unit === 'mg/dL') return told(kind.limit);
  if (kind.unit === 'mg/dL/min') return `${unit.mmol ? unit.pace(kind.limit) : kind.limit.toFixed(2)} ${unit.name} a minute`;
  return `${kind.limit.toFixed(0)} ${kind.unit}`;
}

function showLimits() {
  $('limits').replaceChildren(...LIMITS.map(([name, words, step]) => {
    const kind = shown.kinds.find((kind) => kind.name === name);
    const on = Object.assign(document.createElement('input'), { type: 'checkbox', id: `on-${name}`, checked: kind.on });
    const slide = Object.assign(document.createElement('input'), {
      type: 'range', id: `limit-${name}`, min: kind.least, max: kind.most, step, value: kind.limit, disabled: !kind.on,
    });
    on.setAttribute('aria-label', `${words.split(':')[0]}: on`);
    const output = make('output', limitWords(kind));
    const label = make('label', ` ${words} `, output);
    label.htmlFor = slide.id;
    slide.setAttribute('aria-valuetext', limitWords(kind));
    let timer;
    const moved = () => {
      // a probability's range begins between two floats
      const value = Math.min(Math.max(+slide.value, kind.least), kind.most);
      slide.disabled = !on.checked;
      const before = core.kinds()[kind.n];
      const taken = core.set(kind.n, on.checked, value);
      if (!taken) [slide.value, on.checked, slide.disabled] = [before.limit, before.on, !before.on];
      const words = limitWords(core.kinds()[kind.n]);
      output.textContent = taken ? words : `${words} (low and high must stay apart)`;
      slide.setAttribute('aria-valuetext', words);
      clearTimeout(timer);
      timer = setTimeout(() => {
        play();
        showReplay();
        showScore();
      }, 60);
    };
    slide.addEventListener('input', moved);
    on.addEventListener('input', moved);
    return make('div', on, label, slide);
  }));
}

function row(...cells) {
  const [first, ...rest] = cells;
  const head = make('th', first);
  head.scope = 'row';
  return make('tr', head, ...rest.map((cell) => make('td', cell)));
}

function showScore() {
  const { score, byDefault, kinds } = shown;
  const line = (words, of) => row(words, of(score), of(byDefault));
  const by = (part, whole) => (whole > 0 ? (part / whole).toFixed(1) : 'none');
  $('score').querySelector('caption').textContent = `Over ${score.days.toFixed(1)} days of readings and ${count(score.nights, 'night')}`;
  $('score').tBodies[0].replaceChildren(
    line('rings a day', (s) => by(s.rings, s.days)),
    line('of them first rings', (s) => by(s.alarms, s.days)),
    line('rings a night', (s) => by(s.nightRings, s.nights)),
    line('nights with any ring', (s) => `${s.woken} of ${s.nights}`),
    line('lows warned of before they began', (s) => `${s.warned} of ${s.lows}`),
    line('ten minutes or more before', (s) => `${s.warned10} of ${s.lows}`),
    line('warning, median', (s) => known(s.warning, (minutes) => `${Math.abs(minutes).toFixed(0)} min ${minutes < 0 ? 'after' : 'before'}`)),
  );
  $('kinds').tBodies[0].replaceChildren(...kinds.flatMap(({ name, on }, n) => {
    const { alarms, rings, right } = score.kinds[n];
    if (!rings && !on) return [];
    const proven = Number.isFinite(right);
    return [row(name.replaceAll('_', ' '), `${alarms}`, proven ? `${right}` : '', proven ? `${alarms - right}` : '', `${rings}`)];
  }));
}

function showReview() {
  const { review, quarters, episodes } = shown;
  const percent = (value) => `${value.toFixed(1)} %`;
  $('suffices').textContent = `${review.days.toFixed(1)} days, ${known(review.active, percent)} of the time with readings${review.suffices ? '.' : ': too little to stand for weeks (14 days and 70 % are asked for; Battelino et al. 2019).'}`;
  const figures = [
    ['Mean', known(review.mean, told)],
    ['Standard deviation', known(review.sd, told)],
    ['Coefficient of variation', known(review.cv, percent)],
    ['Glucose management indicator', known(review.gmi, percent)],
    [limit('70 to 180'), percent(review.shares[2])],
    [limit('under 70'), percent(review.shares[5])],
    [limit('over 180'), percent(review.shares[6])],
    ['Mean amplitude of excursions', known(review.mage, told)],
  ];
  $('figures').replaceChildren(...figures.map(([what, value]) => make('div', make('dt', what), make('dd', make('strong', value)))));
  drawRanges($('ranges'), review.shares.slice(0, 5), RANGES.map(limit));
  const enough = quarters.some((quarter) => Number.isFinite(quarter[4]));
  $('pattern').parentElement.hidden = !enough;
  if (enough) drawPattern($('pattern'), quarters, unit, 'The pattern of the day: median, middle half and nine tenths of the values by time of day');
  else $('pattern').replaceChildren();
  $('totals').querySelector('caption').textContent = 'Of 15 minutes or more';
  $('totals').tBodies[0].replaceChildren(...EPISODES.map((what, n) => row(limit(what), `${review.episodes[2 * n]}`, lasting(review.episodes[2 * n + 1]))));
  $('episodes').tBodies[0].replaceChildren(...episodes.map(([rule, from, , seconds, extreme]) =>
    row(`${dateOf(dayOf(from))}, ${clockOf(from)}`, limit(EPISODES[rule]), lasting(seconds / 60), told(extreme))));
}

/** The text of a file; UTF-16 where it says so. */
async function text(file) {
  const bytes = new Uint8Array(await file.arrayBuffer());
  const wide = { 65534: 'utf-16le', 65279: 'utf-16be' }[(bytes[0] << 8) | bytes[1]];
  return new TextDecoder(wide ?? 'utf-8').decode(bytes);
}

async function take(files) {
  open(await Promise.all([...files].map(async (file) => ({ name: file.name, text: await text(file) }))));
}

function showDemo() {
  const [trace, sticks] = embedded.split('\f');
  open([{ name: 'demo', text: trace }, { name: 'fingersticks of the demo', text: sticks }],
    'This is an invented demo: person, sensor and meter are simulated. Lunch and dinner are misjudged, the sensor begins badly, is out of reach on the second afternoon and slept on in the third night.');
}

function listen() {
  const drop = $('drop');
  document.addEventListener('dragover', (event) => {
    event.preventDefault();
    drop.classList.add('over');
  });
  document.addEventListener('dragleave', (event) => event.relatedTarget ?? drop.classList.remove('over'));
  document.addEventListener('drop', (event) => {
    event.preventDefault();
    drop.classList.remove('over');
    if (event.dataTransfer.files.length) take(event.dataTransfer.files);
  });
  $('choose').addEventListener('change', () => $('choose').files.length && take($('choose').files));
  $('demo').addEventListener('click', showDemo);
  for (const choice of document.getElementsByName('unit')) {
    choice.addEventListener('change', () => {
      unit = UNITS.find(({ name }) => name === choice.value);
      showLimits();
      showAll();
    });
  }
  const go = (n) => {
    choose(n);
    showReplay();
  };
  const toDay = (day) => go(shown.samples.findIndex((s) => dayOf(s.wall) >= day));
  $('moment').addEventListener('input', () => go(+$('moment').value));
  $('day').addEventListener('change', () => toDay(+$('day').value));
  const dayAway = (by) => toDay(shown.days[shown.days.indexOf(dayOf(shown.samples[shown.chosen].wall)) + by]);
  $('before').addEventListener('click', () => dayAway(-1));
  $('after').addEventListener('click', () => dayAway(1));
  $('ring-before').addEventListener('click', () => {
    const earlier = shown.rings.filter((ring) => nearest(ring.wall) < shown.chosen);
    if (earlier.length) go(nearest(earlier.at(-1).wall));
  });
  $('ring-after').addEventListener('click', () => {
    const later = shown.rings.find((ring) => nearest(ring.wall) > shown.chosen);
    if (later) go(nearest(later.wall));
  });
  $('defaults').addEventListener('click', () => {
    core.wasm.defaults();
    play();
    showLimits();
    showAll();
  });
  let width = 0;
  new ResizeObserver(() => {
    if (Math.abs(document.body.clientWidth - width) > 4 && shown.samples) showAll();
    width = document.body.clientWidth;
  }).observe(document.body);
}

async function start() {
  core = await Core.of(await unpacked('module'));
  embedded = new TextDecoder().decode(await unpacked('tables'));
  listen();
  showDemo();
  document.documentElement.dataset.ready = '';
}

start().catch(failed);
