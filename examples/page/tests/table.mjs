// The forms of tables, times and numbers that are read, and those that are not.
import assert from 'node:assert/strict';
import { test } from 'node:test';

import { dateOrder, parseTime, readTable, records } from '../web/table.js';

/** 6 May 2024, 00:05. */
const WALL = 1714953900;

test('times of the standards and of spreadsheets', () => {
  for (const [text, lead] of [
    ['2024-05-06T00:05:00Z', 0], ['2024-05-06T00:05Z', 0], ['2024-05-06 00:05', null], ['2024-05-06t00:05:00.25', null],
    ['2024-05-06T00:05:00,25+02:00', 7200], ['2024-05-06 00:05:00 -0330', -12600], ['2024-05-06T00:05:00+02', 7200],
    ['2024-05-06T00:05:00+02:00[Europe/Vienna]', 7200], ['20240506T000500Z', 0], ['20240506T0005', null],
    ['1714953900', 0], ['1714953900.9', 0], ['1714953900123', 0], ['2024/5/6 0:05', null], ['2024.05.06 00:05', null],
    ['2024-05-06, 00:05', null], ['6 May 2024 00:05', null], ['06-May-24 00:05', null], ['May 6, 2024 12:05 AM', null],
    ['2024-05-06 12:05\u202fam', null],
  ]) {
    assert.deepEqual(parseTime(text), { wall: WALL, lead }, text);
  }
  assert.equal(parseTime('May 6, 2024 12:05 PM').wall, WALL + 43200);
  assert.equal(parseTime('2024-05-06 1:05 p.m.').wall, WALL + 46800);
  assert.equal(parseTime('2000-02-29T00:00').wall, 951782400);
  for (const text of [
    '', 'noon', '00:05', '2024-05-06', '20240506', '2023-02-29 00:05', '2024-13-06 00:05', '2024-05-06 24:05',
    '2024-05-06 00:60', '2024-05-06 00:05:60', '2024-05-06 13:05 PM', '2024-05-06 0:05 AM', '2024-05-06 00:05 x',
    '2024-05-06T00:05:00+2', '2024-05-06T00:05:00+25:00', '2024-05-06T00:05:00[Europe/Vienna]', '13/13/2024 00:05',
    '31.04.2024 00:05', 'ma 6, 2024 00:05', '5/6/202 00:05', '5/6/2024 00:05Z', '1.2.3', '2024-05-06T00:05:00:00', '-5',
  ]) {
    assert.equal(parseTime(text), undefined, text);
  }
});

test('the column tells which number is the day', () => {
  const order = (...texts) => dateOrder(texts.map(parseTime));
  assert.equal(order('05/06/2024 23:55', '13/06/2024 00:00'), 'dayFirst');
  assert.equal(order('05/06/2024 23:55', '05/13/2024 00:00'), 'monthFirst');
  assert.equal(order('05/06/2024 23:55', '06/06/2024 00:00'), 'dayFirst');
  assert.equal(order('05/07/2024 00:00', '05/06/2024 23:55'), 'monthFirst');
  assert.equal(order('05.06.2024 23:55', '05.06.2024 23:59'), 'dayFirst');
  assert.equal(order('05/06/2024 23:50', '05/06/2024 23:55'), undefined);
  // 30 days one way, 32 the other
  assert.equal(order('01/02/2024 00:00', '02/03/2024 00:00'), undefined);
  assert.equal(order('02/01/2024 00:00', '03/02/2024 00:00'), undefined);
  assert.equal(order('06/06/2024 23:50', '2024-06-06 23:55'), 'dayFirst');
  const { numbers } = parseTime('06.05.2024 00:05');
  assert.deepEqual([numbers.dayFirst, numbers.monthFirst], [WALL, WALL + 30 * 86400]);
});

test('quotes, ends of line, comments', () => {
  const all = (text) => [...records(text, ',')].map(({ line, cells }) => [line, ...cells]);
  assert.deepEqual(all('a,b\r\n\n# c,"d\n"e,""f""",\ng\n"h\ni",j\rk,"l'), [
    [1, 'a', 'b'], [4, 'e,"f"', ''], [5, 'g'], [6, 'h\ni', 'j'], [8, 'k', 'l'],
  ]);
  assert.deepEqual(all('\n\n#\n'), []);
  for (const text of ['"', '"""', ',,,', '"a"b,c', '\r\r\n\r', '"a""']) assert.ok(all(text).length < 9, text);
});

const pairs = ({ values }) => values.flatMap((value, n) => (n % 3 ? [] : [[value, values[n + 1]]]));

test('the same readings in any form', () => {
  for (const text of [
    'time,glucose_mg_dl\n2024-05-06T00:05:00Z,112\n2024-05-06T00:10:00Z,109\n',
    '\ufefftime;glucose_mg_dl\r\n2024-05-06 00:05;112\r\n2024-05-06 00:10;109',
    'time\tglucose_mg_dl\n1714953900\t112\n1714954200\t109',
    '# a word\ntime,glucose_mg_dl,note\n1714953900,112,"a, b"\n1714954200,109,"c\nd"\n',
    'made by hand\n\nDate;Time;Glucose [mg/dL]\n06.05.2024;00:05;112,0\n06.05.2024;00:10;109,0\n',
    'Glucose (mg/dL)|Timestamp\n112|5/6/2024 12:05 AM\n109|5/6/2024 12:10 AM\n112|x\n113|5/13/2024 1:00 PM',
    'time,glucose\n1714953900000,112\n1714954200000,109\n',
    'Zeitpunkt;Blutzucker mg/dl;Notiz\n2024-05-06 00:05;112;\n2024-05-06 00:10;109;\n',
    'time,time zone,glucose rate,glucose\n1714953900,1,1,112\n1714954200,1,1,109\n',
  ]) {
    assert.deepEqual(pairs(readTable(text)).slice(0, 2), [[WALL, 112], [WALL + 300, 109]], text);
  }
  const mmol = readTable('time;glucose_mmol_l\n1714953900;5,6\n1714954200;LOW\n');
  assert.deepEqual([mmol.mmol, mmol.values], [true, [WALL, 5.6, 0, WALL + 300, NaN, -1]]);
  assert.equal(readTable('time,glucose\n1714953900,5.6\n').mmol, true);
  assert.equal(readTable('time,glucose\n1714953900,36\n').mmol, false);
});

test('every row is accounted for', () => {
  const table = readTable(
    `time,glucose_mg_dl\n2024-05-06 00:05,112\n2024-05-06 00:10,LOW\n2024-05-06 00:15,high\n2024-05-06 00:20,\n,5\n
2024-05-06 00:10,LO\n2024-05-06 00:05,113\nyesterday,100\n2024-05-06 00:25,many\n2024-05-06 00:30,-4\n2024-05-06 00:35,--
2024-05-06 00:40Z,100\n2024-05-06 00:50,99\n2024-05-06 00:45,98\n2024-05-06 00:55,2001`,
  );
  const { counts } = table;
  assert.deepEqual(
    [counts.rows, counts.blank, counts.repeats, counts.conflicts, counts.outOfOrder, counts.low, counts.high],
    [15, 3, 1, 1, 3, 2, 1],
  );
  assert.deepEqual(table.unread.map(({ line, text }) => [line, text]), [
    [10, 'yesterday'], [11, 'many'], [12, '-4'], [14, '2024-05-06 00:40Z'], [17, '2001'],
  ]);
  assert.deepEqual(pairs(table).map(([, value]) => value), [112, NaN, NaN, 98, 99]);
  assert.equal(table.kept + counts.blank + counts.repeats + counts.conflicts + table.unread.length, counts.rows);
  assert.equal(table.interval, 300);
  const bounds = readTable('time,glucose\n1714953900,LOW\n1714953900,HIGH\n4291747199,100\n4291747200,101\n');
  assert.deepEqual([bounds.counts.conflicts, bounds.counts.repeats, bounds.kept, bounds.unread.length], [1, 0, 2, 1]);
});

test('fingersticks in a table of their own, or beside the readings', () => {
  const sticks = readTable('time,reference_mg_dl\n1714953900,120\n');
  assert.ok(sticks.ofMeter && !readTable('time,glucose_mg_dl\n1714953900,120\n').own);
  const both = readTable('time,glucose_mg_dl,reference_mmol_l\n1714954200,110,7\n1714953900,112,6.5\n1714954500,x,\n1714954800,,6\n');
  assert.ok(!both.ofMeter && both.own.ofMeter && both.own.mmol);
  assert.deepEqual(pairs(both.own), [[WALL, 6.5], [WALL + 300, 7], [WALL + 900, 6]]);
  const twice = readTable('time,glucose,reference_mg_dl\n1714953900,110,100\n1714953900,110,101\n');
  assert.deepEqual(pairs(twice.own), [[WALL, 100]]);
  // on the clock of the trace, which was set back
  const at = (hour, minute) => `2024-10-27 0${hour}:${String(minute).padStart(2, '0')}`;
  const hours = (from, to) => Array.from({ length: (to - from) * 12 }, (_, n) => `${at(from + Math.floor(n / 12), (n % 12) * 5)},${100 + (n % 7)}`);
  const trace = readTable(['time,glucose_mg_dl', ...hours(0, 3), ...hours(2, 6)].join('\n'));
  assert.equal(trace.counts.setBack, 1);
  assert.deepEqual(trace.clock.map(([, lead]) => lead), [0, -3600]);
  const start = trace.values[0];
  const beside = readTable(`time,reference_mg_dl\n${at(1, 0)},100\n${at(4, 0)},120\n`, trace);
  assert.deepEqual(pairs(beside).map(([when]) => (when - start) / 3600), [1, 5]);
  assert.throws(() => readTable('time,reference_mg_dl\n1714953900,120\n', trace), /zone/);
});

test('each time keeps the lead that it tells', () => {
  const { clock, zoned } = readTable('time,glucose\n2024-10-27T00:55:00+02:00,100\n2024-10-27T00:00:00+01:00,101\n2024-10-27T01:00:00+01:00,102\n');
  const first = Date.UTC(2024, 9, 26, 22, 55) / 1000;
  assert.ok(zoned);
  assert.deepEqual(clock, [[first, 7200], [first + 300, 3600]]);
});

test('what is no table is refused with the reason', () => {
  for (const [text, says] of [
    ['', /header/], ['2024-05-06 00:05,112\n', /header/], ['time,weight\n1714953900,80\n', /header/],
    ['time,glucose_mg_dl\n', /No row/], ['time,glucose_mg_dl\n1714953900,\n', /No row/],
    ['time,glucose_mg_dl\n1714953900,5.6\n', /name it glucose_mmol_l/], ['time,glucose_mmol_l\n1714953900,112\n', /name it glucose_mg_dl/],
    ['time,glucose_mg_dl,note,glucose_mg_dl\n1714953900,112,1,1\n', /twice/],
    ['time,glucose left,glucose right\n1714953900,112,1\n', /several columns that may be the glucose: glucose left, glucose right/],
    ['meter time,sensor time,glucose\n1,1714953900,112\n', /several columns that may be the time/], ['a\0b', /no text/],
  ]) {
    assert.throws(() => readTable(text), says, text);
  }
});

test('dates that nothing tells apart are said to be guessed', () => {
  const table = readTable('time,glucose_mg_dl\n05/06/2024 23:50,100\n05/06/2024 23:55,101\n');
  assert.ok(table.counts.orderGuessed);
  assert.equal(table.values[0], 1717631400);
  assert.ok(!readTable('time,glucose_mg_dl\n1714953900,112\n').counts.orderGuessed);
});

test('what only looks like a clock set back is none', () => {
  const step = (n) => `2024-10-27 ${String(Math.floor(n / 12)).padStart(2, '0')}:${String((n % 12) * 5).padStart(2, '0')},${100 + (n % 7)}`;
  const read = (...places) => readTable(['time,glucose_mg_dl', ...places.map(step)].join('\n'));
  const upTo = (from, to) => Array.from({ length: to - from }, (_, n) => from + n);
  assert.equal(read(...upTo(0, 36), ...upTo(24, 60)).counts.setBack, 1);
  // one late row, a quarter of an hour delivered again, a step back by 25 minutes, an hour that had no readings
  for (const places of [
    [...upTo(0, 36), 24, ...upTo(36, 60)], [...upTo(0, 36), ...upTo(24, 27), ...upTo(36, 60)],
    [...upTo(0, 36), ...upTo(30, 60)], [...upTo(0, 20), 35, ...upTo(24, 60)],
  ]) {
    const { counts, clock } = read(...places);
    assert.equal(counts.setBack, 0, places.join());
    assert.equal(clock.length, 1);
    assert.ok(counts.outOfOrder > 0);
  }
});

test('newest first is turned round', () => {
  const mixed = readTable(`time,glucose_mg_dl\n${[0, 3, 2, 1, 4, 3.5, 3.2].map((n) => `${WALL + n * 300},${100 + n}`).join('\n')}`);
  assert.ok(!mixed.counts.newestFirst && mixed.counts.outOfOrder === 4);
  const rows = Array.from({ length: 20 }, (_, n) => `${WALL - n * 300},${100 + n}`);
  const table = readTable(['time,glucose_mg_dl', ...rows].join('\n'));
  assert.ok(table.counts.newestFirst && table.counts.outOfOrder === 0 && table.kept === 20);
  assert.deepEqual(table.values.slice(0, 2), [WALL - 19 * 300, 119]);
});
