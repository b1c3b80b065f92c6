// Tables of readings and of fingersticks, with every oddity handled and counted; a row that cannot be read is kept aside
// and told. The desk tool reads these forms alike; it reads more, and stops at the first row that it cannot.

/** What tables write where there is no value (common practice, no source). */
const BLANKS = ['', 'na', 'n/a', 'null', '-', '--'];
const TIME = words('time timestamp datetime zeit uhrzeit zeitpunkt zeitstempel hora heure ora tijd tid');
const DATE = words('date datum fecha data dato dag jour');
/** Words that make a time another one. */
const NO_TIME = words('zone timezone elapsed offset duration');
const GLUCOSE = /gluco|gluko|glyc|glyk|glice|gluce|blutzucker|bloedsuiker|blood sugar/;
const METER = words('reference fingerstick finger meter capillary laboratory smbg');
/** Words of a number beside a glucose that is none itself. */
const NO_GLUCOSE = words('rate trend plasma predicted sd alarm target count id type unit change min');
const MONTHS = words('jan feb mar apr may jun jul aug sep oct nov dec');
const MONTH_NAMES = words('january february march april may june july august september october november december');
/** The highest value that a column of mg/dL may have at most and still be one: under it, it is mmol/L. */
const LEAST_HIGHEST_MG_DL = 36;
/** The highest mmol/L that a meter or sensor shows, generously. */
const MOST_MMOL_L = 60;
/** The highest glucose the library takes, mg/dL. */
const MOST = 2000;
/** From 1970 to the end of 2105. */
const LAST = 4291747200;
const HOUR = 3600;

function words(text) {
  return text.split(' ');
}

/** The records of a table, each with its first line: cells parted by `delimiter`, in quotes where they hold one (RFC
 * 4180); without empty lines and lines that begin with `#`. */
export function* records(text, delimiter) {
  const end = /\r\n?|\n/y;
  let at = 0;
  let line = 1;
  while (at < text.length) {
    const first = line;
    const cells = [];
    let comment = text[at] === '#';
    for (;;) {
      let cell = '';
      if (text[at] === '"' && !comment) {
        let close = at;
        do close = text.indexOf('"', close + 1) + 1 || text.length + 1;
        while (text[close] === '"');
        cell = text.slice(at + 1, close - 1);
        line += cell.split(/\r\n?|\n/).length - 1;
        cell = cell.replaceAll('""', '"');
        at = close;
      }
      const from = at;
      while (at < text.length && text[at] !== '\n' && text[at] !== '\r' && (comment || text[at] !== delimiter)) at++;
      cells.push((cell + text.slice(from, at)).trim());
      if (at >= text.length || text[at] !== delimiter) break;
      at++;
    }
    end.lastIndex = at;
    at += end.exec(text)?.[0].length ?? 0;
    line++;
    if (!comment && (cells.length > 1 || cells[0])) yield { line: first, cells };
  }
}

/** Seconds since 1970 of a date and a time of day; nothing when there is no such moment. */
function wall(year, month, day, hour, minute, second) {
  if (hour > 23 || minute > 59 || second > 59) return;
  const date = new Date(0);
  date.setUTCFullYear(year, month - 1, day);
  if (date.getUTCMonth() !== month - 1 || date.getUTCDate() !== day) return;
  return date.getTime() / 1000 + hour * HOUR + minute * 60 + second;
}

const ZONE = String.raw`\s*(?:(Z)|([+-])(\d\d)(?::?(\d\d))?(?:\[[^\]]+\])?)?$`;
const CLOCK = String.raw`(\d{1,2}):(\d\d)(?::(\d\d)(?:[.,]\d*)?)?`;
const YEAR_FIRST = new RegExp(String.raw`^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:T|,?\s+)${CLOCK}(?:\s*([ap])\.?m\.?$|${ZONE})`, 'i');
const TOGETHER = new RegExp(String.raw`^(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)?${ZONE}`, 'i');
const YEAR_LAST = new RegExp(String.raw`^(\w+)[-/., ]+(\w+)[-/., ]+(\d{4}|\d\d),?\s+${CLOCK}(?:\s*([ap])\.?m\.?)?$`, 'i');

function lead(zulu, sign, hours, minutes) {
  if (zulu) return 0;
  if (!sign) return null;
  if (hours > 23 || minutes > 59) return;
  return (sign === '-' ? -1 : 1) * (hours * HOUR + (minutes ?? 0) * 60);
}

/** The hour of a clock of twelve. */
function ofTwelve(hour, half) {
  if (!half) return hour;
  return hour < 1 || hour > 12 ? 24 : (hour % 12) + (half.toLowerCase() === 'p' ? 12 : 0);
}

function month(name) {
  const place = MONTHS.indexOf(name.slice(0, 3).toLowerCase());
  return place >= 0 && MONTH_NAMES[place].startsWith(name.toLowerCase()) ? place + 1 : 0;
}

/** One cell's time: `wall`, seconds since 1970 on some clock, and `lead`, that clock's lead on UTC (null when the text
 * tells no zone); or `numbers`, a day and a month in an order that this cell alone may not tell. Nothing when it is no
 * time. Seconds or milliseconds since 1970, ISO 8601, dates of three numbers or with a month's English name. */
export function parseTime(text) {
  // eight digits are a date written together; milliseconds of 2001 to 2286 have thirteen
  if (/^\d+(\.\d*)?$/.test(text) && !/^\d{8}(\.|$)/.test(text)) {
    return { wall: Math.floor(/^\d{13}$/.test(text) ? text / 1000 : +text), lead: 0 };
  }
  text = text.replace(/[\u00a0\u202f]/g, ' ');
  let found = YEAR_FIRST.exec(text);
  if (found) {
    const [, y, m, d, hour, minute, second, half, ...zone] = found;
    return known(wall(+y, +m, +d, ofTwelve(+hour, half), +minute, +(second ?? 0)), lead(...zone));
  }
  found = TOGETHER.exec(text);
  if (found) {
    const [, y, m, d, hour, minute, second, ...zone] = found;
    return known(wall(+y, +m, +d, +hour, +minute, +(second ?? 0)), lead(...zone));
  }
  found = YEAR_LAST.exec(text);
  if (!found) return;
  const [, a, b, c, h, minute, second, half] = found;
  const year = c.length === 2 ? 2000 + +c : +c;
  const at = (m, d) => wall(year, m, d, ofTwelve(+h, half), +minute, +(second ?? 0));
  const [first, other] = [a, b].map((part) => (/^\d{1,2}$/.test(part) ? +part : 0));
  if (month(a) && other) return known(at(month(a), other), null);
  if (month(b) && first) return known(at(month(b), first), null);
  if (!first || !other) return;
  const numbers = { dayFirst: at(other, first), monthFirst: at(first, other), points: /^\d+\./.test(text) };
  return numbers.dayFirst ?? numbers.monthFirst ? { numbers } : undefined;
}

function known(at, zone) {
  return at === undefined || zone === undefined ? undefined : { wall: at, lead: zone };
}

/** The order of day and month in a column: by the numbers over 12; else by points, which put the day first (common
 * practice, no source); else by the order in which neighbouring rows lie nearer. Nothing when nothing tells. */
export function dateOrder(times) {
  const numbers = times.filter((time) => time.numbers).map((time) => time.numbers);
  if (numbers.every((n) => n.dayFirst === n.monthFirst)) return 'dayFirst';
  const fits = (order) => numbers.filter((n) => n[order] !== undefined);
  const [day, month] = [fits('dayFirst'), fits('monthFirst')];
  if (day.length !== month.length) return day.length > month.length ? 'dayFirst' : 'monthFirst';
  if (numbers.every((n) => n.points)) return 'dayFirst';
  const way = (fitting, order) => {
    const days = fitting.map((n) => Math.floor(n[order] / 86400));
    return days.reduce((sum, here, n) => sum + Math.abs(here - (days[n - 1] ?? here)), 0);
  };
  const [dayWay, monthWay] = [way(day, 'dayFirst'), way(month, 'monthFirst')];
  return dayWay * 3 < monthWay ? 'dayFirst' : monthWay * 3 < dayWay ? 'monthFirst' : undefined;
}

function unitOf(name) {
  return /mmol/i.test(name) ? 'mmol/L' : /mg/i.test(name) ? 'mg/dL' : undefined;
}

/** Which column is which, of a row that may be a header; nothing when it cannot be one, `{ fault }` when it is unclear. */
function columns(names) {
  if (names.some((name) => parseTime(name) || (name && !Number.isNaN(+name)))) return;
  const plain = names.map((name) => name.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, ' ').trim());
  const has = (name, list) => name.split(' ').some((word) => list.includes(word));
  const fitting = (fits) => plain.flatMap((name, n) => (fits(name) ? [n] : []));
  const exact = (...wanted) => {
    for (const name of wanted) {
      const n = names.findIndex((other) => other.toLowerCase() === name);
      if (n >= 0) return [n];
    }
    return [];
  };
  const first = (...ways) => ways.map((way) => way()).find((found) => found.length > 0) ?? [];
  const times = first(
    () => exact('time'),
    () => fitting((name) => has(name, TIME) && has(name, DATE) && !has(name, NO_TIME)),
    () => fitting((name) => has(name, TIME) && !has(name, NO_TIME)),
    () => fitting((name) => DATE.includes(name)),
  );
  const sensor = first(
    () => exact('glucose_mg_dl', 'glucose_mmol_l'),
    () => fitting((name) => GLUCOSE.test(name) && !has(name, NO_GLUCOSE) && !has(name, METER)),
  );
  let glucose = first(
    () => sensor,
    () => exact('reference_mg_dl', 'reference_mmol_l'),
    () => fitting((name) => has(name, METER) && !has(name, NO_GLUCOSE)),
  );
  if (!times.length || !glucose.length) return;
  // of several the one that says its unit; the same in two units is one
  const told = glucose.filter((n) => unitOf(names[n]));
  const twoUnits = told.length === 2 && unitOf(names[told[0]]) !== unitOf(names[told[1]]);
  if (told.length) glucose = twoUnits ? told.slice(0, 1) : told;
  const [time, value] = [times[0], glucose[0]];
  if (times.length === 1 && time === value) return; // one cell of words
  for (const [what, found] of [['time', times], ['glucose', glucose]]) {
    if (found.length > 1) {
      const which = found.map((n) => names[n]).join(', ');
      return { fault: `The header row has several columns that may be the ${what}: ${which}.` };
    }
    if (names.filter((name) => name === names[found[0]]).length > 1) {
      return { fault: `The header row has the column ${names[found[0]]} twice.` };
    }
  }
  const dates = fitting((name) => has(name, DATE) && !has(name, TIME) && !has(name, NO_TIME));
  const date = dates.find((n) => n !== time);
  const own = sensor.length ? exact('reference_mg_dl', 'reference_mmol_l')[0] : undefined;
  return { time, date, glucose: value, unit: unitOf(names[value]), ofMeter: !sensor.length, own, ownUnit: unitOf(names[own] ?? '') };
}

function head(text) {
  let fault;
  for (const delimiter of [',', ';', '\t', '|']) {
    let seen = 0;
    for (const { line, cells } of records(text, delimiter)) {
      const found = columns(cells);
      if (found && !found.fault) return { ...found, line, delimiter };
      fault ??= found?.fault;
      if (++seen === 100) break;
    }
  }
  throw new Error(fault ?? 'No header row with the columns time and glucose_mg_dl (or glucose_mmol_l) was found.');
}

/** A glucose cell: its value (not a number when blank) and -1 for "low", 1 for "high", 0 for neither; nothing when it is
 * none of them. */
function amount(text, decimalComma) {
  const lower = text.toLowerCase();
  if (lower === 'low' || lower === 'lo') return { value: NaN, status: -1 };
  if (lower === 'high' || lower === 'hi') return { value: NaN, status: 1 };
  if (BLANKS.includes(lower)) return { value: NaN, status: 0 };
  if (decimalComma) text = text.replace(',', '.');
  const value = /^[+-]?(\d+\.?\d*|\.\d+)$/.test(text) ? +text : NaN;
  return value >= 0 && value <= MOST ? { value, status: 0 } : undefined;
}

/** The usual interval: the median of the steps that go forward, seconds. */
function usualInterval(times) {
  const steps = times.slice(1).map((at, n) => at - times[n]).filter((step) => step > 0).sort((a, b) => a - b);
  return steps[Math.floor(steps.length / 2)] ?? 300;
}

/** Finds where a clock without a zone was set back by an hour: the time steps back by about an hour, that hour had its
 * readings already, and the rows go on from there past where they were. Moves what follows; returns where, and by how
 * much in all. */
function correctSetBack(rows) {
  const setBack = [];
  const expected = Math.max(Math.floor(HOUR / usualInterval(rows.map((row) => row.at))), 1);
  let shift = 0;
  for (let n = 1; n < rows.length; n++) {
    const before = rows[n - 1].at;
    rows[n].at += shift;
    const here = rows[n].at;
    // without the change this row would be `ahead` seconds after the one before
    const ahead = here + HOUR - before;
    if (here >= before || ahead < 1 || ahead > HOUR / 2) continue;
    let had = 0;
    while (had < n && rows[n - 1 - had].at >= here) had++;
    let [goesOn, last] = [0, here];
    for (const row of rows.slice(n + 1)) {
      const at = row.at + shift;
      const later = at > last;
      last = at;
      if (!later || at - here >= HOUR) break;
      goesOn++;
    }
    if (had * 2 >= expected && goesOn * 2 >= expected && last > before) {
      shift += HOUR;
      rows[n].at += HOUR;
      setBack.push([rows[n].at, shift]);
    }
  }
  return setBack;
}

/** Puts rows in order and leaves out repeats; counts what it met. */
function settle(rows, counts) {
  let newest = -Infinity;
  for (const row of rows) {
    if (row.at < newest) counts.outOfOrder++;
    newest = Math.max(newest, row.at);
  }
  const measured = rows.filter((row) => row.status || !Number.isNaN(row.value));
  counts.blank += rows.length - measured.length;
  measured.sort((a, b) => a.at - b.at); // stable: of one second, in the order of the file
  const kept = [];
  for (const row of measured) {
    const same = kept.at(-1);
    if (same?.at !== row.at) kept.push(row);
    else if (Object.is(same.value, row.value) && same.status === row.status) counts.repeats++;
    else counts.conflicts++;
  }
  return kept;
}

/** Reads a table. Of fingersticks the times are put on the clock of `trace`, if one is given. Throws, in words, when it is
 * none. */
export function readTable(text, trace) {
  text = text.replace(/^\ufeff/, '');
  if (text.includes('\0')) throw new Error('This is no text. A table (CSV) is expected.');
  const where = head(text);
  const counts = {
    rows: 0, blank: 0, repeats: 0, conflicts: 0, outOfOrder: 0, newestFirst: false, low: 0, high: 0, setBack: 0,
    orderGuessed: false,
  };
  const unread = [];
  let rows = [];
  for (const { line, cells } of records(text, where.delimiter)) {
    if (line <= where.line) continue;
    counts.rows++;
    const cell = (n) => cells[n] ?? '';
    let time = cell(where.time);
    if (where.date !== undefined && /^\d{1,2}:/.test(time)) time = `${cell(where.date)} ${time}`.trim();
    if (!time) {
      counts.blank++;
      continue;
    }
    const written = parseTime(time);
    const value = amount(cell(where.glucose), where.delimiter !== ',');
    const own = where.own === undefined ? undefined : amount(cell(where.own), where.delimiter !== ',');
    if (where.own !== undefined && !own) unread.push({ line, text: cell(where.own) });
    if (written && value) rows.push({ line, time, written, ...value, stick: own?.value ?? NaN });
    else unread.push({ line, text: written ? cell(where.glucose) : time });
  }
  const order = dateOrder(rows.map((row) => row.written));
  counts.orderGuessed = !order;
  let zoned = where.ofMeter ? trace?.zoned : undefined;
  rows = rows.filter((row) => {
    const { numbers, wall: at = numbers[order ?? 'dayFirst'], lead: zone = null } = row.written;
    zoned ??= zone !== null;
    row.lead = zone ?? 0;
    row.at = at - row.lead;
    const fits = at !== undefined && zoned === (zone !== null) && row.at >= 0 && row.at < LAST;
    if (!fits) unread.push({ line: row.line, text: row.time });
    return fits;
  });
  unread.sort((a, b) => a.line - b.line);
  for (const row of rows) {
    if (row.status < 0) counts.low++;
    if (row.status > 0) counts.high++;
  }
  const mmol = isMmol(rows, where.unit);
  const steps = rows.slice(1).map((row, n) => row.at - rows[n].at);
  const forward = steps.filter((step) => step > 0).length;
  const backward = steps.filter((step) => step < 0).length;
  // a file without any order is not newest first
  counts.newestFirst = backward > 2 * forward;
  if (counts.newestFirst) rows.reverse();
  const setBack = !zoned && !where.ofMeter && Math.min(forward, backward) > 0 ? correctSetBack(rows) : [];
  counts.setBack = setBack.length;
  if (where.ofMeter && !zoned) {
    // an instant of the trace's clock, as it was at first
    const back = (trace?.clock ?? []).map(([from, ahead]) => [from, -ahead]).reverse();
    for (const row of rows) row.at += back.find(([from, by]) => from - by <= row.at)?.[1] ?? 0;
  }
  const own = fingersticksBeside(rows, where);
  const kept = settle(rows, counts);
  if (!kept.length && where.ofMeter && trace && unread.some(({ text }) => parseTime(text))) {
    throw new Error('The times of the trace tell a zone and those of the fingersticks do not, or the reverse.');
  }
  if (!kept.length) throw new Error('No row has a time and a value that can be read.');
  const clock = zoned ? [] : [[0, 0], ...setBack.map(([from, by]) => [from, -by])];
  if (zoned) {
    for (const row of kept) if (clock.at(-1)?.[1] !== row.lead) clock.push([row.at, row.lead]);
  }
  const values = kept.flatMap((row) => [row.at, row.value, row.status]);
  const interval = usualInterval(kept.map((row) => row.at));
  return { ofMeter: where.ofMeter, values, clock, zoned, mmol, interval, counts, unread, kept: kept.length, own };
}

/** The fingersticks that a trace's table holds in a column of their own, as of a table of theirs; nothing without any. */
function fingersticksBeside(rows, { ownUnit }) {
  const found = rows.filter((row) => row.stick > 0).sort((a, b) => a.at - b.at);
  const sticks = found.filter((row, n) => row.at !== found[n - 1]?.at);
  if (!sticks.length) return;
  const values = sticks.flatMap((row) => [row.at, row.stick, 0]);
  return { ofMeter: true, values, mmol: ownUnit === 'mmol/L', unread: [], kept: sticks.length };
}

function isMmol(rows, unit) {
  const highest = rows.reduce((most, row) => (row.value > most ? row.value : most), -1);
  const looksMmol = highest >= 0 && highest < LEAST_HIGHEST_MG_DL;
  if (unit === 'mg/dL' && looksMmol) {
    throw new Error('The column says mg/dL, but its values look like mmol/L: name it glucose_mmol_l.');
  }
  if (unit === 'mmol/L' && highest > MOST_MMOL_L) {
    throw new Error('The column says mmol/L, but its values look like mg/dL: name it glucose_mg_dl.');
  }
  return unit ? unit === 'mmol/L' : looksMmol;
}
