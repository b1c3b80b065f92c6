// The page's module against the desk tool: the same numbers to the last digit that the desk writes.
import assert from 'node:assert/strict';
import { writeFileSync, readFileSync } from 'node:fs';
import { test } from 'node:test';

import { Core } from '../web/core.js';
import { readTable } from '../web/table.js';
import { cell, demo, file, invented, replay, review, rounded, wasm } from './desk.mjs';

const fresh = () => Core.of(readFileSync(wasm));

async function load({ trace, sticks }) {
  const core = await fresh();
  const table = readTable(readFileSync(trace, 'utf8'));
  core.take(table);
  if (sticks) core.take(readTable(readFileSync(sticks, 'utf8'), table));
  core.play();
  return { core, table };
}

const NAMES = (core) => core.kinds().map((kind) => kind.name);

/** Every number of every sample; returns how many cells there were. */
function sameSamples(core, desk) {
  const samples = core.samples();
  const names = NAMES(core);
  assert.equal(samples.length, desk.length);
  let cells = 0;
  samples.forEach((s, n) => {
    const [verdict, trend] = core.words('samples', n);
    const [p15, p30, p60] = s.ahead;
    const page = {
      sensor_mg_dl: cell(s.sensor, 1), plasma_mg_dl: cell(s.plasma, 2), plasma_sd_mg_dl: cell(s.sd, 2),
      rate_mg_dl_min: cell(s.rate, 3), rate_sd_mg_dl_min: cell(s.rateSd, 3), trend,
      predicted_30min_mg_dl: cell(p30[1], 2), predicted_30min_sd_mg_dl: cell(p30[2], 2),
      low_probability_30min: cell(s.low, 4), minutes_to_low: cell(s.toLow, 1), verdict,
      alarms: names.filter((_, kind) => s.rang & (1 << kind)).join(';'),
      predicted_15min_mg_dl: cell(p15[1], 2), predicted_15min_sd_mg_dl: cell(p15[2], 2),
      predicted_60min_mg_dl: cell(p60[1], 2), predicted_60min_sd_mg_dl: cell(p60[2], 2),
      low_ahead_signal: cell(s.signal, 4), direction_mg_dl_min: cell(s.direction, 3),
    };
    const { time, ...rest } = desk[n];
    assert.deepEqual(page, rest, `sample ${n} at ${time}`);
    const told = /^(.{19})(?:Z|[+-].*)?$/.exec(time)[1];
    assert.equal(new Date(s.wall * 1000).toISOString().slice(0, 19), told);
    cells += Object.keys(page).length;
  });
  return cells;
}

function sameAlarms(core, desk) {
  const rings = core.rings();
  assert.equal(rings.length, desk.length);
  rings.forEach((ring, n) => {
    const [kind, priority, cause, by, message] = core.words('rings', n);
    const want = desk[n];
    const page = { kind, priority, message, cause, by, glucose_mg_dl: rounded(ring.glucose, 1) };
    const { time, ...rest } = want;
    assert.deepEqual(page, rest, `ring ${n}`);
    assert.equal(new Date(ring.wall * 1000).toISOString().slice(0, 19), time.slice(0, 19));
  });
}

function sameScore(core, desk) {
  const score = core.score();
  assert.deepEqual(
    {
      days: rounded(score.days, 2), nights: score.nights, nights_woken: score.woken, lows: score.lows,
      lows_warned: score.warned, lows_warned_10_min: score.warned10, median_warning_min: rounded(score.warning, 1),
      alarms_per_day: rounded(score.alarms / score.days, 3),
    },
    Object.fromEntries(
      ['days', 'nights', 'nights_woken', 'lows', 'lows_warned', 'lows_warned_10_min', 'median_warning_min', 'alarms_per_day']
        .map((key) => [key, desk[key]]),
    ),
  );
  const night = [22, 23, 0, 1, 2, 3, 4, 5, 6];
  let [rings, nightRings] = [0, 0];
  for (const want of desk.kinds) {
    const kind = score.kinds[NAMES(core).indexOf(want.kind)];
    assert.equal(kind.alarms, want.alarms);
    assert.equal(kind.rings, want.rings);
    assert.equal(Number.isNaN(kind.right) ? null : kind.right, want.true_alarms);
    rings += want.rings;
    nightRings += night.reduce((sum, hour) => sum + want.by_hour[hour], 0);
  }
  assert.equal(score.rings, rings);
  assert.equal(score.nightRings, nightRings);
}

function sameReview(core, desk) {
  const page = core.review();
  const known = (value) => (Number.isNaN(value) ? null : value);
  const f32 = (value) => (value === null ? null : Math.fround(value));
  for (const [key, value] of Object.entries({
    readings: page.readings, days: page.days, active_percent: page.active, mean_mg_dl: page.mean, sd_mg_dl: page.sd,
    cv_percent: page.cv, gmi_percent: page.gmi, mage_mg_dl: page.mage, modd_mg_dl: page.modd, lbgi: page.lbgi,
    hbgi: page.hbgi, gri: page.gri,
  })) {
    assert.equal(known(value), f32(desk[key]), key);
  }
  assert.equal(page.suffices === 1, desk.suffices);
  const keys = ['below_54', 'from_54_to_69', 'from_70_to_180', 'from_181_to_250', 'above_250', 'below_70', 'above_180'];
  assert.deepEqual(page.shares.map(known), keys.map((key) => f32(desk.by_time[`${key}_percent`])));
  assert.deepEqual(page.episodes, desk.episode_totals.flatMap(({ count, minutes }) => [count, minutes]));
  const kinds = desk.episode_totals.map(({ kind }) => kind);
  assert.deepEqual(
    core.rows('episodes').map(([rule, , , seconds, extreme]) => [rule, seconds / 60, extreme]),
    desk.episodes.map(({ kind, minutes, extreme_mg_dl }) => [kinds.indexOf(kind), minutes, f32(extreme_mg_dl)]),
  );
  assert.deepEqual(
    core.rows('quarters').map((row) => row.map(known)),
    desk.day_profile.map(({ minute, p05, p25, p50, p75, p95, n }) => [minute, n, ...[p05, p25, p50, p75, p95].map(f32)]),
  );
}

async function sameAsDesk(files) {
  const { core, table } = await load(files);
  const desk = replay(files);
  assert.equal(table.counts.rows, desk.report.input.rows);
  const cells = sameSamples(core, desk.samples);
  sameAlarms(core, desk.report.alarms);
  sameScore(core, desk.report.rehearsal);
  sameReview(core, review(files));
  const used = core.rows('sticks').filter(([, , , used]) => used).length;
  assert.equal(used, desk.report.calibration.fingersticks_used);
  return { core, cells, desk };
}

test('the demo', async () => {
  const { cells, desk } = await sameAsDesk(demo());
  assert.ok(cells > 15000 && desk.report.alarms.length > 10 && desk.report.calibration.fingersticks_used > 5);
});

for (const [seed, days] of [[1, 14], [2, 14]]) {
  test(`an invented person, seed ${seed}`, async () => {
    const { cells, desk } = await sameAsDesk(invented(seed, days));
    assert.ok(cells > 60000 && desk.report.alarms.length > 20);
  });
}

test('without fingersticks, in mmol/L, on a clock that is set back', async () => {
  const { trace } = invented(3, 4);
  const [, ...rows] = readFileSync(trace, 'utf8').trim().split('\n').filter((line) => !line.startsWith('#'));
  // two hours of the third day are shown as the hour before: a clock set back at 03:00
  const back = Date.UTC(2026, 0, 7, 3) / 1000;
  const lines = rows.map((row) => {
    const [time, glucose] = row.split(',');
    const at = Date.parse(`${time.slice(0, 19)}Z`) / 1000;
    const wall = new Date((at < back ? at : at - 3600) * 1000).toISOString().slice(0, 19);
    const value = glucose ? (glucose / 18.0156).toFixed(1).replace('.', ',') : '';
    return `${wall.replace('T', ' ')};${value}`;
  });
  const mmol = { trace: file('mmol.csv') };
  writeFileSync(mmol.trace, `\ufefftime;glucose_mmol_l\r\n${lines.join('\r\n')}\r\n`);
  const { core, desk } = await sameAsDesk(mmol);
  assert.equal(desk.report.input.clock_set_back, 1);
  assert.ok(core.rows('episodes').length > 5);
});

test('every quarter of an hour, with days of silence', async () => {
  const { trace, sticks } = invented(4, 12, '--interval', '15');
  const silent = /^2026-01-(08|09|10)T/;
  const kept = readFileSync(trace, 'utf8').split('\n').filter((line) => !silent.test(line));
  const gap = { trace: file('gap.csv'), sticks };
  writeFileSync(gap.trace, kept.join('\n'));
  const { core, desk } = await sameAsDesk(gap);
  assert.equal(desk.report.interval_s, 900);
  assert.ok(desk.report.alarms.filter(({ kind }) => kind === 'no_data').length > 10);
  // another trace takes the place of this one, its fingersticks and its review
  const files = { trace: invented(2, 14).trace };
  core.take(readTable(readFileSync(files.trace, 'utf8')));
  core.play();
  sameReview(core, review(files));
  sameSamples(core, replay(files).samples);
  assert.equal(core.rows('sticks').length, 0);
});

test('with a limit moved, as the desk varies it', async () => {
  const files = invented(1, 14);
  const { core } = await load(files);
  for (const [name, limit] of [['low', 85], ['low_ahead', 0.6], ['high', 180]]) {
    const { report } = replay(files, '--vary', `${name}.limit=${limit}`);
    const [varied] = report.rehearsal.variations;
    const kind = core.kinds().find((kind) => kind.name === name);
    const before = core.rings().length;
    assert.ok(core.set(kind.n, kind.on, limit));
    core.play();
    assert.notEqual(core.rings().length, before, `${name} makes a difference`);
    sameScore(core, varied.score ?? varied);
    assert.ok(core.set(kind.n, kind.on, kind.limit));
  }
  const low = core.kinds().find((kind) => kind.name === 'low');
  assert.ok(!core.set(low.n, true, 20) && !core.set(0, false, 55) && !core.set(99, true, 1));
  assert.equal(core.kinds()[low.n].limit, 70);
  core.set(low.n, false, 90);
  core.wasm.defaults();
  assert.deepEqual(core.kinds()[low.n], low);
});

test('what is no reading is refused and nothing changes', async () => {
  const { core } = await load(demo());
  const before = core.samples().length;
  const table = readTable('time,glucose_mg_dl\n1714953900,112\n1714954200,109\n');
  assert.throws(() => core.take({ ...table, values: [300, 112, 0, 300, 113, 0] }));
  assert.throws(() => core.take({ ...table, values: [300, NaN, 0] }));
  core.play();
  assert.equal(core.samples().length, before);
  core.take(table);
  core.play();
  assert.equal(core.samples().length, 2);
});
